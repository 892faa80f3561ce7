"""The original network against adapted ones: average precision at 5, 10, 20 and 40 labeled positives.

    tools/bench/run adapted --networks original=models/efficientnet-lite0.onnx NAME=FILE.onnx --sets boards
        [--photos DIR] [--json FILE] [--seeds 10] [--first 100]
        [--decks BEGINNING...] [--device cuda]
    tools/bench/run adapted --table FILE.json... [--by-tag]

Every network makes the vectors of the recipe and a projection of its own (fitted on open pictures and
renders, without labels). Decks are split half and half; from one half n positives and at most 3 n negatives
are drawn, the other half is the test; the same draws serve every network, so that differences are paired by
draw. `whole` is a logistic regression on whole vectors, `cells` one on cells beside their neighbors (sets
with boxes), `both` the sum of the two, each standardized on the test photos. The interval (95 %) draws the
splits anew. `two views` is `whole` with every training photo also mirrored and mildly relit (--two-views).
--device runs the networks in torch, as `tools.build_backbone.adapt` does; --decks takes only some decks of
the sets, as the boards of trees that an adaptation did not see. Whether a network saw a set or a tag while it
was adapted is in the adapted.json beside it.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from sklearn.metrics import average_precision_score

from tools.bench import baseline
from tools.bench.feature_sets import Array, FeatureSet, read_labels
from tools.bench.features import HIGHEST, NEGATIVE_CELLS, Draw, classifier, draws, overlap
from tools.build_backbone.joined import joined_cells
from tools.build_backbone.pictures import SKIMAGE, SKLEARN
from tools.build_backbone.projection import fit
from triage.features.backbone import Backbone
from triage.features.embedder import make_views
from triage.features.pooling import whole_vector
from triage.features.recipe import default_recipe
from triage.imaging import open_upright
from triage.train.cells import with_neighbors
from triage.train.fitting import WHOLE_C
from triage.train.linear import balanced, fit_dual

ROOT = Path(__file__).resolve().parents[2]
COUNTS = (5, 10, 20, 40)
PLAIN = "plain"
"""In place of a network's file: the plain baseline of `tools/bench/baseline.py`."""
EVERY_RENDER = 3
CELLS_PER_PICTURE = 400
DRAWS_ANEW = 2000
SECOND_VIEW = 20261127


@dataclass
class Vectors:
    """A set's photos by one network: whole vectors (n, D), cells with neighbors photo by photo, grids.

    ``second`` (n, D) are the whole vectors of the photos mirrored and mildly relit.
    """

    whole: Array
    cells: list[Array]
    grids: list[tuple[int, int]]
    second: Array | None = None


_NETWORK: list[Backbone] = []


def _load(file: str) -> None:
    """Load the worker's network; each worker uses one thread."""
    path = Path(file)
    _NETWORK[:] = [Backbone(path.name, folder=path.parent)]


def _photo(job: tuple[Any, bool, int]) -> tuple[Array, Array | None, tuple[int, int]]:
    """Return whole vector, joined cells where asked for (all, or so many at random), and the grid."""
    source, wanted, most = job
    image = open_upright(source, default_recipe().cell_long_side_px)
    pictures = make_views(image, default_recipe())
    maps = [_NETWORK[0].maps(view) for view in pictures.whole]
    last = _NETWORK[0].maps(pictures.cells)
    joined = joined_cells(*last) if wanted else None
    if joined is not None and most:
        joined = joined[np.random.default_rng(len(joined)).permutation(len(joined))[:most]]
    grid = (int(last[0].shape[1]), int(last[0].shape[2]))
    return whole_vector(maps, last), None if joined is None else joined.astype(np.float16), grid


def _open_pictures() -> list[Any]:
    packages = (("skimage.data", SKIMAGE), ("sklearn.datasets.images", SKLEARN))
    found: list[Any] = [
        (resources.files(package) / name).read_bytes() for package, names in packages for name in names
    ]
    return found + sorted((ROOT / "sample_photos" / "photos").glob("*/*.jpg"))[::EVERY_RENDER]


def vectors_by(file: Path, features: FeatureSet, files: Sequence[Path]) -> Vectors:
    """Return the set's vectors by one network."""
    boxed = bool(features.boxes)
    with ProcessPoolExecutor(_workers(), initializer=_load, initargs=(str(file),)) as pool:
        found = list(pool.map(_photo, [(path, boxed, 0) for path in files], chunksize=4))
        whole, grids = np.stack([one[0] for one in found]), [one[2] for one in found]
        if not boxed:
            return Vectors(whole, [], grids)
        samples = pool.map(_photo, [(one, True, CELLS_PER_PICTURE) for one in _open_pictures()], chunksize=4)
        projection = fit(np.concatenate([one[1] for one in samples if one[1] is not None]).astype(np.float32))
    return Vectors(whole, [_kept(joined, grid, projection) for _whole, joined, grid in found], grids)


def _views(source: Any) -> tuple[list[Array], Array]:
    """Return the recipe's pictures of one photo."""
    found = make_views(open_upright(source, default_recipe().cell_long_side_px), default_recipe())
    return found.whole, found.cells


@cache
def _views_of(files: tuple[Any, ...]) -> list[tuple[list[Array], Array]]:
    with ProcessPoolExecutor(_workers()) as pool:
        return list(pool.map(_views, files, chunksize=4))


def second_view(pictures: tuple[list[Array], Array], number: int) -> tuple[list[Array], Array]:
    """Return the pictures mirrored, light and colors mildly changed, the same change in all of them."""
    rng = np.random.default_rng([SECOND_VIEW, number])
    gain, power = np.exp(rng.normal(0, 0.06) + rng.normal(0, 0.03, 3)), np.exp(rng.normal(0, 0.08))
    table = np.clip(255 * (np.arange(256)[:, None] / 255) ** power * gain, 0, 255).round().astype(np.uint8)

    def changed(rgb: Array) -> Array:
        return np.ascontiguousarray(np.stack([table[rgb[:, ::-1, k], k] for k in range(3)], axis=2))

    return [changed(one) for one in pictures[0]], changed(pictures[1])


def vectors_on_device(
    file: Path, features: FeatureSet, files: Sequence[Path], device: str, two_views: bool
) -> Vectors:
    """Return the set's vectors by one network, in torch."""
    from tools.build_backbone.adapt.vectors import network_on, vectors_on

    network, boxed = network_on(file, device), bool(features.boxes)
    photos = _views_of(tuple(files))
    projection = None
    if boxed:
        samples = []
        for _numbers, _whole, cells, _grid in vectors_on(network, _views_of(tuple(_open_pictures())), device):
            few = np.random.default_rng(cells.shape[1]).permutation(cells.shape[1])[:CELLS_PER_PICTURE]
            samples.append(cells[:, few].flatten(0, 1).cpu().numpy())
        projection = fit(np.concatenate(samples))
    rows: dict[int, tuple[Array, Array | None, tuple[int, int]]] = {}
    for numbers, whole, cells, grid in vectors_on(network, photos, device):
        found = cells.cpu().numpy() if boxed else [None] * len(numbers)
        for number, vector, one in zip(numbers, whole, found, strict=True):
            rows[number] = vector, None if one is None else _kept(one, grid, projection), grid
    order = range(len(photos))
    second = None
    if two_views:
        again = [second_view(pictures, number) for number, pictures in enumerate(photos)]
        found = [
            (n, w)
            for ns, whole, *_ in vectors_on(network, again, device)
            for n, w in zip(ns, whole, strict=True)
        ]
        second = np.stack([whole for _number, whole in sorted(found, key=lambda one: one[0])])
    cells = [rows[k][1] for k in order] if boxed else []
    return Vectors(np.stack([rows[k][0] for k in order]), cells, [rows[k][2] for k in order], second)


def _kept(joined: Array, grid: tuple[int, int], projection: dict[str, Array]) -> Array:
    """Return the cells as the store keeps them, projected to 8-bit numbers, beside their neighbors."""
    projected = (joined.astype(np.float32) - projection["mean"]) @ projection["matrix"]
    steps = np.clip(np.rint((projected - projection["offset"]) / projection["scale"]), 0, 255)
    return with_neighbors(steps * projection["scale"] + projection["offset"], grid)


def two_view_scores(found: Vectors, split: Draw) -> Array:
    """Return (test,) scores of the regression with two rows a training photo, each of half the weight."""
    assert found.second is not None  # noqa: S101 - asked for
    rows = np.concatenate([found.whole[split.train], found.second[split.train]]).astype(float)
    labels = np.tile(split.train_labels, 2)
    weights = balanced(labels, np.full(len(labels), 0.5))
    duals, _bias = fit_dual(rows @ rows.T, labels, weights, WHOLE_C)
    return np.asarray(found.whole[split.test] @ (duals @ rows))


def whole_scores(x: Array, split: Draw) -> Array:
    """Return (test,) scores of a balanced logistic regression with the trainer's C."""
    rows, ones = x[split.train].astype(float), np.ones(len(split.train))
    duals, _bias = fit_dual(rows @ rows.T, split.train_labels, balanced(split.train_labels, ones), WHOLE_C)
    return np.asarray(x[split.test] @ (duals @ rows))


def cell_scores(found: Vectors, features: FeatureSet, tag: str, split: Draw, seed: int) -> Array:
    """Return (test,) scores: cells in boxes against cells away, the photo's score its six highest."""
    rng = np.random.default_rng(seed)
    x, y = [], []
    for index, label in zip(split.train, split.train_labels, strict=True):
        boxes = features.boxes.get((features.keys[index], tag), []) if label else []
        if label and not boxes:
            continue
        covered = overlap(found.grids[index], boxes)
        if boxes:
            inside = covered >= min(0.3, covered.max())
            x.append(found.cells[index][inside])
            y += [1] * int(inside.sum())
        away = rng.permutation(np.flatnonzero(covered == 0))[:NEGATIVE_CELLS]
        x.append(found.cells[index][away])
        y += [0] * len(away)
    if len(set(y)) < 2:
        return np.zeros(len(split.test))
    weights = classifier().fit(np.concatenate(x), y).coef_[0].astype(np.float32)
    return np.array([np.sort(found.cells[i] @ weights)[-HIGHEST:].mean() for i in split.test])


def _standard(scores: Array) -> Array:
    return np.asarray((scores - scores.mean()) / max(float(scores.std()), 1e-9))


_SHARED: list[tuple[FeatureSet, Vectors]] = []


def _share(features: FeatureSet, found: Vectors) -> None:
    _SHARED[:] = [(features, found)]


def _figures(job: tuple[str, int, int, int]) -> list[tuple[str, int, str, int, float]]:
    tag, positives, repeats, first = job
    features, found = _SHARED[0]
    rows = []
    for number, split in enumerate(draws(features, tag, positives, repeats, first)):
        if not found.grids:
            train = found.whole[split.train]
            scores = {"plain": baseline.scores(train, split.train_labels, found.whole[split.test])}
        else:
            scores = {"whole": whole_scores(found.whole, split)}
        if found.second is not None:
            scores["two views"] = two_view_scores(found, split)
        if found.cells and any((key, tag) in features.boxes for key in features.keys):
            scores["cells"] = cell_scores(found, features, tag, split, number)
            scores["both"] = _standard(scores["whole"]) + _standard(scores["cells"])
            if found.second is not None:
                scores["both, two views"] = _standard(scores["two views"]) + _standard(scores["cells"])
        for name, values in scores.items():
            figure = float(average_precision_score(split.test_labels, values))
            rows.append((tag, positives, name, first + number, figure))
    return rows


def _workers() -> int:
    return max(1, len(os.sched_getaffinity(0)))


def measure(
    file: Path, folder: Path, asked: argparse.Namespace
) -> Iterator[tuple[str, int, str, int, float]]:
    """Yield (tag, positives, recipe, draw, average precision) of one network on one set."""
    labels, boxes = read_labels(folder / "labels.csv")
    decks = tuple(asked.decks) or ("",)
    files = [one for one in sorted((folder / "photos").glob("*/*.jpg")) if one.parent.name.startswith(decks)]
    keys = [f"{path.parent.name}/{path.name}" for path in files]
    features = FeatureSet(folder.name, keys, {}, labels, boxes)
    if str(file) == PLAIN:
        with ProcessPoolExecutor(_workers()) as pool:
            plain = np.stack(list(pool.map(baseline.features, files, chunksize=4)))
        found = Vectors(plain, [], [])
    elif asked.device:
        found = vectors_on_device(file, features, files, asked.device, asked.two_views)
    else:
        found = vectors_by(file, features, files)
    jobs = [(tag, count, asked.seeds, asked.first) for tag in sorted(labels) for count in COUNTS]
    with ProcessPoolExecutor(_workers(), initializer=_share, initargs=(features, found)) as pool:
        for rows in pool.map(_figures, jobs):
            yield from rows


def interval(differences: Sequence[Array]) -> tuple[float, float]:
    """Return the 95 % interval of the mean of means, by drawing each row's splits anew."""
    rng = np.random.default_rng(0)
    drawn = [
        one[rng.integers(0, len(one), (DRAWS_ANEW, len(one)))].mean(axis=1)
        for one in map(np.asarray, differences)
    ]
    low, high = np.quantile(np.mean(drawn, axis=0), [0.025, 0.975])
    return float(low), float(high)


Pairs = dict[tuple[str, str, str], dict[tuple[str, int], Array]]


def paired(rows: list[dict[str, Any]], original: str) -> Pairs:
    """Return by (network, set, scores) and (tag, positives) the draws' figures, (n, 2): original, adapted."""
    by: dict[tuple[Any, ...], dict[str, dict[int, float]]] = {}
    for row in rows:
        key = (row["set"], row["recipe"], row["tag"], row["positives"])
        by.setdefault(key, {}).setdefault(row["network"], {})[row["draw"]] = row["ap"]
    for key in [one for one in by if one[1] == "plain"]:  # held against the whole vectors of the original
        by[key] |= {original: by.get((key[0], "whole", *key[2:]), {}).get(original, {})}
    found: Pairs = {}
    for (place, recipe, tag, count), networks in by.items():
        before = networks.get(original, {})
        for name, after in networks.items():
            common = sorted(set(before) & set(after))
            if name != original and common:
                pairs = np.array([(before[draw], after[draw]) for draw in common])
                found.setdefault((name, place, recipe), {})[tag, count] = pairs
    return found


def _row(names: Sequence[object], pairs: Sequence[Array], note: str = "") -> str:
    low, high = interval([one[:, 1] - one[:, 0] for one in pairs])
    before, after = np.mean([one.mean(axis=0) for one in pairs], axis=0)
    begin = " | ".join(map(str, names))
    return (
        f"| {begin} | {before:.3f} | {after:.3f} | {after - before:+.4f} ({low:+.4f} to {high:+.4f}) |{note}"
    )


def table(rows: list[dict[str, Any]], original: str = "original", by_tag: bool = False) -> str:
    """Return Markdown: original against each other network, by set and scores, or by tag and count too."""
    names = ["network", "set", "scores", *(["tag", "positives"] if by_tag else ["tags x positives"])]
    last = [] if by_tag else ["least tag"]
    head = [*names, "original", "adapted", "difference (95 %)", *last]
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    for key, found in sorted(paired(rows, original).items()):
        if by_tag:
            lines += [_row((*key, *which), [pairs]) for which, pairs in sorted(found.items())]
            continue
        gains = {which: float((pairs[:, 1] - pairs[:, 0]).mean()) for which, pairs in found.items()}
        least = min(gains, key=gains.__getitem__)
        note = f" {least[0]} at {least[1]}: {gains[least]:+.3f} |"
        lines.append(_row((*key, len(found)), list(found.values()), note))
    return "\n".join(lines)


def main() -> int:
    """Measure and keep, or print the table of what was kept."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--photos", type=Path, default=ROOT.parent / "shared" / "photos")
    parser.add_argument("--networks", nargs="+", default=[], metavar="NAME=FILE")
    parser.add_argument("--sets", nargs="+", default=[])
    parser.add_argument("--decks", nargs="*", default=[], metavar="BEGINNING")
    parser.add_argument("--device", help="run the networks in torch there")
    parser.add_argument("--two-views", action="store_true", help="needs --device")
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--first", type=int, default=100)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--table", type=Path, nargs="+", default=[])
    parser.add_argument("--by-tag", action="store_true")
    asked = parser.parse_args()
    rows: list[dict[str, Any]] = [row for file in asked.table for row in json.loads(file.read_text("utf-8"))]
    if asked.table:
        print(table(rows, by_tag=asked.by_tag))
        return 0
    for pair in asked.networks:
        name, file = pair.split("=", 1)
        for one in asked.sets:
            folder = ROOT / "sample_photos" if one == "demo" else asked.photos / one
            for tag, count, recipe, draw, figure in measure(Path(file), folder, asked):
                rows.append(
                    {"network": name, "set": one, "tag": tag, "positives": count, "recipe": recipe}
                    | {"draw": draw, "ap": figure}
                )
            print(f"{name} on {one}: {len(rows)} figures so far", file=sys.stderr, flush=True)
    if asked.json:
        asked.json.write_text(json.dumps(rows), encoding="utf-8")
    print(table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
