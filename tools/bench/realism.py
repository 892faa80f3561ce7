"""How photo-like the rendered photos are, in four numbers and one classifier.

    python tools/bench/realism.py sample_photos --real ../shared/photos [--json]

Power-spectrum slope, sharpness, noise and color spread of each rendered photo are held against the range
(2nd to 98th percentile) of real photos; then a classifier is told to separate rendered from real wood patches
(64 x 64 pixels, split by deck and board). Real photos here are of boards, screws in a block and objects: no
open set of real deck photos was found, so an area under the curve near 1 says first of all that subjects
and cameras differ.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np

LONG_SIDE = 512  # every photo is brought to this before measuring, so that sets of different size compare
PATCH = 64
MEASURES = ("spectrum_slope", "sharpness", "noise", "color_spread")


def read(path: Path, long_side: int = LONG_SIDE) -> np.ndarray | None:
    """The photo as float RGB (0 to 1), its long side scaled down to `long_side`; None when smaller."""
    image = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if image is None or max(image.shape[:2]) < long_side:
        return None
    scale = long_side / max(image.shape[:2])
    size = (round(image.shape[1] * scale), round(image.shape[0] * scale))
    return cv2.resize(image, size, interpolation=cv2.INTER_AREA)[..., ::-1].astype(np.float32) / 255


def spectrum_slope(gray: np.ndarray) -> float:
    """Exponent of the radially averaged power spectrum, cycles 8 to 128 of a Hann-windowed square.

    Natural scenes lie near -2 (Field 1987, J. Opt. Soc. Am. A 4:2379).
    """
    side = min(gray.shape)
    top, left = (gray.shape[0] - side) // 2, (gray.shape[1] - side) // 2
    square = gray[top : top + side, left : left + side]
    window = np.hanning(side)
    power = np.abs(np.fft.fftshift(np.fft.fft2((square - square.mean()) * np.outer(window, window)))) ** 2
    y, x = np.indices(power.shape) - side // 2
    radius = np.hypot(x, y).astype(int).ravel()
    mean = np.bincount(radius, power.ravel()) / np.maximum(1, np.bincount(radius))
    cycles = np.unique(np.geomspace(8, min(128, side // 2 - 1), 24).astype(int))
    return float(np.polyfit(np.log(cycles), np.log(mean[cycles] + 1e-12), 1)[0])


def sharpness(gray: np.ndarray) -> float:
    """Standard deviation of the Laplacian, of gray levels 0 to 255."""
    return float(cv2.Laplacian(gray * 255, cv2.CV_32F).std())


def noise(gray: np.ndarray) -> float:
    """Noise in gray levels (Immerkaer 1996, CVIU 64:300) over the flattest tenth of 16 px cells."""
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    high = np.abs(cv2.filter2D(gray.astype(np.float32) * 255, -1, mask))
    h, w = (s // 16 * 16 for s in gray.shape)
    cells = high[:h, :w].reshape(h // 16, 16, w // 16, 16).mean((1, 3)).ravel()
    return float(np.sqrt(np.pi / 2) / 6 * np.sort(cells)[: max(1, len(cells) // 10)].mean())


def color_spread(rgb: np.ndarray) -> float:
    """Spread of chroma: square root of the summed variances of a* and b* (CIELAB)."""
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    return float(np.sqrt(lab[..., 1].var() + lab[..., 2].var()))


def measure(rgb: np.ndarray) -> dict[str, float]:
    """The four numbers of one photo."""
    gray = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    return dict(
        zip(MEASURES, (spectrum_slope(gray), sharpness(gray), noise(gray), color_spread(rgb)), strict=True)
    )


def sample(folder: Path, most: int, seed: int = 1) -> list[Path]:
    """Up to `most` JPEGs below a folder, the same ones every time."""
    found = sorted(p for p in folder.rglob("*.jp*g") if "exif" not in p.parts)
    keep = np.random.default_rng(seed).permutation(len(found))[:most]
    return [found[i] for i in sorted(keep)]


def compare(rendered: list[Path], real: list[Path]) -> dict[str, Any]:
    """Per measure: the real range, the rendered median, and the share of rendered photos inside the range."""
    tables = []
    for paths in (rendered, real):
        photos = (read(p) for p in paths)
        tables.append([measure(p) for p in photos if p is not None])
    out: dict[str, Any] = {"rendered_photos": len(tables[0]), "real_photos": len(tables[1])}
    for name in MEASURES:
        ours, theirs = (np.array([row[name] for row in table]) for table in tables)
        low, high = np.percentile(theirs, [2, 98])
        out[name] = {
            "real_low": round(float(low), 3),
            "real_high": round(float(high), 3),
            "rendered_median": round(float(np.median(ours)), 3),
            "rendered_low": round(float(np.percentile(ours, 2)), 3),
            "rendered_high": round(float(np.percentile(ours, 98)), 3),
            "share_inside": round(float(((ours >= low) & (ours <= high)).mean()), 3),
        }
    return out


def patch_features(patch: np.ndarray) -> np.ndarray:
    """Spectrum, residual and color statistics of one patch (64, 64, 3)."""
    gray = cv2.cvtColor(patch, cv2.COLOR_RGB2GRAY)
    window = np.hanning(PATCH)
    power = np.abs(np.fft.fftshift(np.fft.fft2((gray - gray.mean()) * np.outer(window, window)))) ** 2
    y, x = np.indices(power.shape) - PATCH // 2
    radius = np.hypot(x, y).astype(int).ravel()
    spectrum = np.log(np.bincount(radius, power.ravel())[1:33] + 1e-9)
    residual = patch - cv2.GaussianBlur(patch, (0, 0), 1.0)
    flat = residual.reshape(-1, 3)
    correlation = np.corrcoef(flat.T + 1e-6 * np.random.default_rng(0).normal(size=flat.T.shape))[
        np.triu_indices(3, 1)
    ]
    spread = flat.std(0) + 1e-6
    kurtosis = (((flat - flat.mean(0)) / spread) ** 4).mean(0)
    return np.concatenate([spectrum - spectrum.mean(), np.log(spread), np.log(kurtosis), correlation])


def patches_of(
    path: Path, boxes: list[tuple[float, float, float, float]] | None, each: int, seed: int
) -> list[np.ndarray]:
    """Features of patches of a photo (long side 1024 px), inside the boxes where there are some."""
    rgb = read(path, 1024)
    if rgb is None:
        return []
    rng, out = np.random.default_rng(seed), []
    h, w = rgb.shape[:2]
    for _ in range(each):
        x0, y0, x1, y1 = boxes[int(rng.integers(len(boxes)))] if boxes else (0, 0, w, h)
        if x1 - x0 <= PATCH or y1 - y0 <= PATCH:
            continue
        x, y = int(rng.uniform(x0, x1 - PATCH)), int(rng.uniform(y0, y1 - PATCH))
        if x >= 0 and y >= 0 and x + PATCH <= w and y + PATCH <= h:
            out.append(patch_features(rgb[y : y + PATCH, x : x + PATCH]))
    return out


def wood_boxes(truth: Path) -> dict[str, list[tuple[float, float, float, float]]]:
    """Boxes of ledger, joists, beam and decking by photo, from `truth.jsonl` (pixels)."""
    out = {}
    for line in truth.read_text(encoding="utf-8").splitlines():
        record = json.loads(line)
        wood = [
            c["box_px"]
            for c in record.get("components", [])
            if c["component"].split("-")[0] in ("ledger", "joist", "beam", "decking")
        ]
        if wood:
            out[record["photo"]] = [tuple(b) for b in wood]
    return out


def tell_apart(rendered: Path, boards: Path, photos: int = 120, each: int = 6) -> dict[str, Any]:
    """Rendered against real wood patches: area under the curve, five folds, decks and boards whole."""
    from sklearn.ensemble import RandomForestClassifier
    from sklearn.metrics import roc_auc_score
    from sklearn.model_selection import GroupKFold

    boxes = wood_boxes(rendered / "truth.jsonl")
    x, y, groups = [], [], []
    for k, (photo, found) in enumerate(sorted(boxes.items())[:photos]):
        rows = patches_of(rendered / "photos" / photo, found, each, k)
        x, y, groups = x + rows, y + [1] * len(rows), groups + [photo.split("/")[0]] * len(rows)
    for k, path in enumerate(sample(boards / "photos", photos)):
        rows = patches_of(path, None, each, k)
        x, y, groups = x + rows, y + [0] * len(rows), groups + [f"board {path.parent.name}"] * len(rows)
    table, truth, score = np.array(x), np.array(y), np.zeros(len(y))
    for train, test in GroupKFold(5).split(table, truth, groups):
        forest = RandomForestClassifier(200, min_samples_leaf=3, random_state=0, n_jobs=1).fit(
            table[train], truth[train]
        )
        score[test] = forest.predict_proba(table[test])[:, 1]
    return {
        "rendered_patches": int(truth.sum()),
        "real_patches": int((1 - truth).sum()),
        "roc_auc": round(float(roc_auc_score(truth, score)), 3),
    }


def main() -> int:
    """Print the comparison; 1 with a sentence when one side is missing."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("rendered", type=Path)
    parser.add_argument("--real", type=Path, required=True, help="folder with sets of real photos")
    parser.add_argument("--most", type=int, default=150, help="photos of either kind")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    ours, theirs = sample(asked.rendered / "photos", asked.most), []
    for name in ("boards", "screws", "materials"):
        theirs += sample(asked.real / name, asked.most // 3)
    if not ours or not theirs:
        sys.stderr.write(f"There are no photos in {asked.rendered if not ours else asked.real}.\n")
        return 1
    result = compare(ours, theirs)
    if (
        (asked.real / "boards").is_dir()
        and (asked.rendered / "truth.jsonl").is_file()
        and wood_boxes(asked.rendered / "truth.jsonl")
    ):
        result["wood_patches"] = tell_apart(asked.rendered, asked.real / "boards")
    if asked.json:
        sys.stdout.write(json.dumps(result, indent=1) + "\n")
        return 0
    sys.stdout.write(
        f"{result['rendered_photos']} rendered photos against {result['real_photos']} real ones\n"
    )
    for name in MEASURES:
        r = result[name]
        sys.stdout.write(
            f"{name:15} rendered {r['rendered_median']:8.3f} ({r['rendered_low']} to {r['rendered_high']}), "
            f"real {r['real_low']} to {r['real_high']}, inside {r['share_inside']:.0%}\n"
        )
    if "wood_patches" in result:
        w = result["wood_patches"]
        sys.stdout.write(
            f"wood patches    told apart with an area under the curve of {w['roc_auc']} "
            f"({w['rendered_patches']} and {w['real_patches']})\n"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
