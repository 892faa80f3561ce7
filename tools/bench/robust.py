"""How the presorter's accuracy falls with blur, light, distance, angle and JPEG quality.

    tools/bench/run robust sample_photos [--most 60] [--json] [--plot robust.png]

Trains on the decks of `split.toml` that are for training, then scores the photos of the other decks again and
again, each time with one thing made worse and everything else left as it is. Blur, light and compression are
put on the finished photo; distance is the photo made smaller, angle a turn about its upright middle line (as
of a flat scene). Figures on rendered decks say which way the curves go, not how high they lie on real ones.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from triage.features import Embedder, default_recipe
from triage.train import TagModel, TrainingLabel, score, train_tags

CORE_TAGS = (
    "missing-hanger",
    "rusted-connector",
    "nail-only-ledger",
    "debris-at-flashing",
    "side-bolted-beam",
)
Picture = np.ndarray


def blurred(picture: Picture, sigma_px: float) -> Picture:
    """Out of focus: a Gaussian of `sigma_px` on the photo's own grid."""
    return cv2.GaussianBlur(picture, (0, 0), sigma_px) if sigma_px > 0 else picture


def relit(picture: Picture, stops: float) -> Picture:
    """Exposed `stops` brighter or darker, in linear light (sRGB, IEC 61966-2-1), clipped as a phone clips."""
    x = picture.astype(np.float32) / 255
    linear = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4) * 2**stops
    out = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    return (np.clip(out, 0, 1) * 255 + 0.5).astype(np.uint8)


def farther(picture: Picture, times: float) -> Picture:
    """Taken from `times` as far: the same photo with so many fewer pixels on everything."""
    h, w = picture.shape[:2]
    return cv2.resize(picture, (round(w / times), round(h / times)), interpolation=cv2.INTER_AREA)


def turned(picture: Picture, degrees: float) -> Picture:
    """Seen from the side: the photo as a flat wall, turned about its upright middle line."""
    if degrees == 0:
        return picture
    h, w = picture.shape[:2]
    focal, c, s = 0.8 * w, np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    wall = np.array([[1, 0, -w / 2], [0, 1, -h / 2], [0, 0, 1.0]])
    turn = np.array([[c, 0, 0], [0, 1, 0], [s, 0, focal]])
    lens = np.array([[focal, 0, w / 2], [0, focal, h / 2], [0, 0, 1.0]])
    return cv2.warpPerspective(picture, lens @ turn @ wall, (w, h), borderMode=cv2.BORDER_REFLECT)


SWEEPS: dict[str, tuple[str, tuple[float, ...], Callable[[Picture, float], Picture]]] = {
    "blur": ("sigma, px", (0, 1, 2, 4, 8), blurred),
    "light": ("stops", (0, -1, -2, -3, 1, 2), relit),
    "distance": ("times as far", (1, 1.5, 2, 4), farther),
    "angle": ("degrees", (0, 15, 30, 45), turned),
    "jpeg": ("quality", (95, 50, 25, 10, 5), lambda picture, quality: picture),
}


def jpeg(picture: Picture, quality: int) -> bytes:
    """The picture (BGR) as JPEG bytes."""
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def read_labels(folder: Path) -> dict[tuple[str, str], tuple[str, tuple[tuple[float, ...], ...]]]:
    """Value and boxes by (photo, tag), of the core tags."""
    out = {}
    with (folder / "labels.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["tag"] in CORE_TAGS:
                boxes = tuple(tuple(float(v) for v in box.split(",")) for box in row["box"].split(";") if box)
                out[row["photo"], row["tag"]] = (row["value"], boxes)
    return out


def learn(folder: Path, decks: list[str], embedder: Embedder) -> dict[str, TagModel]:
    """One model per core tag from the training decks; a tag with too few labels has none."""
    said = read_labels(folder)
    photos = sorted({photo for photo, _ in said if photo.split("/")[0] in decks})
    vectors = {photo: embedder.embed(folder / "photos" / photo) for photo in photos}
    labels = [
        TrainingLabel(photo, tag, value, boxes, asked_by="deck")
        for (photo, tag), (value, boxes) in said.items()
        if photo in vectors
    ]
    found = train_tags([(p, p.split("/")[0]) for p in photos], labels, vectors.__getitem__, tags=CORE_TAGS)
    return {tag: model for tag, model in found.items() if isinstance(model, TagModel)}


def area(scores: np.ndarray, truth: np.ndarray) -> float | None:
    """Area under the ROC curve; None when all photos are of one kind."""
    from sklearn.metrics import roc_auc_score

    return None if truth.min() == truth.max() else round(float(roc_auc_score(truth, scores)), 3)


def sweep(
    folder: Path, decks: list[str], models: dict[str, TagModel], embedder: Embedder, most: int
) -> dict[str, Any]:
    """Per sweep, level and tag: area under the curve on answered photos of decks not trained on."""
    said = read_labels(folder)
    photos = sorted({photo for photo, _ in said if photo.split("/")[0] in decks})[:most]
    out: dict[str, Any] = {"photos": len(photos)}
    for name, (unit, levels, change) in SWEEPS.items():
        curves: dict[str, list[float | None]] = {tag: [] for tag in models}
        for level in levels:
            vectors = {}
            for photo in photos:
                picture = cv2.imread(str(folder / "photos" / photo), cv2.IMREAD_COLOR)
                vectors[photo] = embedder.embed(
                    jpeg(change(picture, level), int(level) if name == "jpeg" else 95)
                )
            for tag, model in models.items():
                asked = [p for p in photos if said.get((p, tag), ("",))[0] in ("present", "absent")]
                truth = np.array([said[p, tag][0] == "present" for p in asked])
                curves[tag].append(area(np.array([score(model, vectors[p]).raw for p in asked]), truth))
        out[name] = {"unit": unit, "levels": list(levels), "roc_auc": curves}
    return out


def draw(result: dict[str, Any], path: Path) -> None:
    """Write the curves as a picture, one panel for each thing that is made worse."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, panels = pyplot.subplots(1, len(SWEEPS), figsize=(3.1 * len(SWEEPS), 3.2), sharey=True)
    marks = dict(zip(CORE_TAGS, "os^Dv", strict=True))
    for panel, name in zip(panels, SWEEPS, strict=True):
        found = result[name]
        order = np.argsort(found["levels"])
        for tag, curve in found["roc_auc"].items():
            values = np.array([np.nan if one is None else one for one in curve])
            panel.plot(np.array(found["levels"])[order], values[order], marker=marks[tag], label=tag)
        panel.set(title=name, xlabel=found["unit"], ylim=(0.4, 1.02))
        panel.axhline(0.5, color="0.6", linewidth=0.8, linestyle=":")
    panels[0].set_ylabel("area under the ROC curve")
    handles, names = panels[0].get_legend_handles_labels()
    figure.legend(handles, names, loc="lower center", ncols=len(names), frameon=False)
    figure.tight_layout(rect=(0, 0.09, 1, 1))
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def main() -> int:
    """Print the curves; 1 with a sentence when there is nothing to learn from."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--most", type=int, default=60, help="photos to score at each level")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="the curves as a picture (PNG, SVG)")
    asked = parser.parse_args()
    if not (asked.folder / "split.toml").is_file():
        sys.stderr.write(f"There is no split.toml in {asked.folder}.\n")
        return 1
    split = tomllib.loads((asked.folder / "split.toml").read_text(encoding="utf-8"))
    embedder = Embedder(default_recipe(), threads=1)
    models = learn(asked.folder, split["train"], embedder)
    if not models:
        sys.stderr.write("No core tag has enough labels to train.\n")
        return 1
    result = sweep(asked.folder, split["presort"], models, embedder, asked.most)
    if asked.plot:
        draw(result, asked.plot)
    if asked.json:
        sys.stdout.write(json.dumps(result, indent=1) + "\n")
        return 0
    sys.stdout.write(
        f"area under the ROC curve on {result['photos']} photos of decks that were not trained on\n"
    )
    for name in SWEEPS:
        found = result[name]
        sys.stdout.write(
            f"\n{name} ({found['unit']})".ljust(24)
            + "".join(f"{level:>8g}" for level in found["levels"])
            + "\n"
        )
        for tag, curve in found["roc_auc"].items():
            sys.stdout.write(
                f"  {tag:21}" + "".join(f"{'-' if v is None else f'{v:.3f}':>8}" for v in curve) + "\n"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
