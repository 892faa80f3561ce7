"""What each part of the recipe brings: average precision and ROC-AUC at 10, 20 and 40 labeled positives.

python -m tools.bench.features writes a Markdown table. Sets: the real photos of --photos (folders with
photos/ and labels.csv) and sample_photos/. Decks are split half and half; from one half n positives and at
most 3 n negatives are drawn, the other half is the test. Logistic regression, C = 100, balanced, on
unit-length blocks. The same draws serve every recipe, so the differences are paired. Features are extracted
once and kept in --cache.
"""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from sklearn.exceptions import ConvergenceWarning
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import average_precision_score, roc_auc_score

from tools.bench.feature_sets import FULL, SMALL, Array, FeatureSet, extract
from triage.features.pooling import unit
from triage.features.projection import load_projection
from triage.train.cells import with_neighbors

ROOT = Path(__file__).resolve().parents[2]
COUNTS = (10, 20, 40)
REPEATS = 6
NEGATIVES_A_POSITIVE = 3
HIGHEST = 6
NEGATIVE_CELLS = 60
Parts = dict[str, Array]


@dataclass(frozen=True)
class Draw:
    """One split: training photos with their labels, test photos with theirs."""

    train: Array
    train_labels: Array
    test: Array
    test_labels: Array


def draws(
    features: FeatureSet, tag: str, positives: int, repeats: int = REPEATS, first: int = 0
) -> list[Draw]:
    """Return up to ``repeats`` draws, or none when half of the decks seldom hold enough positives."""
    answered = np.array([i for i, key in enumerate(features.keys) if key in features.labels[tag]])
    labels = np.array([features.labels[tag][features.keys[i]] for i in answered])
    decks = features.decks[answered]
    found: list[Draw] = []
    for seed in range(first, first + 4 * repeats):
        rng = np.random.default_rng([positives, seed])
        order = rng.permutation(np.unique(decks))
        inside = np.isin(decks, order[: len(order) // 2])
        here, there = answered[inside & (labels == 1)], answered[inside & (labels == 0)]
        test, truth = answered[~inside], labels[~inside]
        if len(here) < positives or len(there) < 3 or truth.sum() < 3 or (truth == 0).sum() < 3:
            continue
        drawn = rng.permutation(here)[:positives]
        others = rng.permutation(there)[: NEGATIVES_A_POSITIVE * positives]
        y = np.r_[np.ones(len(drawn)), np.zeros(len(others))]
        found.append(Draw(np.r_[drawn, others], y, test, truth))
        if len(found) == repeats:
            break
    return found if len(found) >= repeats // 2 else []


def classifier() -> LogisticRegression:
    """Return the fixed classifier of the bench."""
    return LogisticRegression(C=100, class_weight="balanced", max_iter=500)


def score_whole(x: Array, splits: list[Draw]) -> tuple[float, float]:
    """Return mean average precision and ROC-AUC of whole-photo vectors."""
    found = []
    for split in splits:
        scores = classifier().fit(x[split.train], split.train_labels).decision_function(x[split.test])
        found.append(
            (
                average_precision_score(split.test_labels, scores),
                roc_auc_score(split.test_labels, scores),
            )
        )
    return tuple(np.mean(found, axis=0))


def whole_recipes() -> dict[str, Callable[[Parts], list[Array]]]:
    """Return the whole-photo recipes of the table by name; each gives the blocks of all photos."""

    def base(p: Parts, network: str = FULL, large: int = 448, flips: bool = False) -> list[Array]:
        names = [f"{network} 224", f"{network} {large}"]
        if flips:
            names += [f"{name} flipped" for name in names]
        mean = np.sum([p[f"{name} last mean"] for name in names], axis=0)
        return [mean, np.max([p[f"{name} last max"] for name in names], axis=0)]

    def with_cells(p: Parts, network: str = FULL) -> list[Array]:
        mean, largest = base(p, network)
        return [mean + p[f"{network} cells last mean"], largest, p[f"{network} cells last max"]]

    def texture(p: Parts, network: str = FULL) -> list[Array]:
        names = [f"{network} 448 earlier", f"{network} cells earlier"]
        means, tops = ([p[f"{name} {how}"] for name in names] for how in ("mean", "max"))
        return [np.sum(means, axis=0), np.max(tops, axis=0)]

    def apart(p: Parts) -> list[Array]:
        return [p[f"{FULL} {side} last {how}"] for side in (224, 448) for how in ("mean", "max")]

    return {
        "224 mean": lambda p: [p[f"{FULL} 224 last mean"]],
        "448 mean": lambda p: [p[f"{FULL} 448 last mean"]],
        "448 mean, max": lambda p: [p[f"{FULL} 448 last mean"], p[f"{FULL} 448 last max"]],
        "D: 224 + 384, mean summed, max": lambda p: base(p, large=384),
        "D at 224 + 448": base,
        "D at 224 + 448, four blocks": apart,
        "D + mirror images": lambda p: base(p, flips=True),
        "D + colors around the median": lambda p: [*base(p), 0.5 * p["color"]],
        "D + earlier map at 448": lambda p: [
            *base(p),
            p[f"{FULL} 448 earlier mean"],
            p[f"{FULL} 448 earlier max"],
        ],
        "D + mean, max of the cells' map": with_cells,
        "shipped blocks, original network, 32 bits": lambda p: [*with_cells(p), *texture(p)],
        "shipped blocks, adapted network, 8 bits": lambda p: [*with_cells(p, SMALL), *texture(p, SMALL)],
    }


def overlap(grid: tuple[int, int], boxes: list[list[float]]) -> Array:
    """Return (cells,): the largest share of each cell that one box covers."""
    rows, cols = grid
    y, x = (axis.ravel() for axis in np.mgrid[0:rows, 0:cols])
    left, top = x / cols, y / rows
    best = np.zeros(rows * cols)
    for box_x, box_y, width, height in boxes:
        across = np.minimum(left + 1 / cols, box_x + width) - np.maximum(left, box_x)
        down = np.minimum(top + 1 / rows, box_y + height) - np.maximum(top, box_y)
        best = np.maximum(best, np.clip(across, 0, None) * np.clip(down, 0, None) * rows * cols)
    return best


def score_cells(
    cells: list[Array], features: FeatureSet, tag: str, splits: list[Draw]
) -> tuple[float, float]:
    """Return the figures of a classifier on cells: positives inside boxes, photo score the six highest."""
    found = []
    for number, split in enumerate(splits):
        rng = np.random.default_rng(number)
        x, y = [], []
        for index, label in zip(split.train, split.train_labels, strict=True):
            boxes = features.boxes.get((features.keys[index], tag), []) if label else []
            if label and not boxes:
                continue
            covered = overlap(features.grids[index], boxes)
            if boxes:
                inside = covered >= min(0.3, covered.max())
                x.append(cells[index][inside])
                y += [1] * int(inside.sum())
            away = rng.permutation(np.flatnonzero(covered == 0))[:NEGATIVE_CELLS]
            x.append(cells[index][away])
            y += [0] * len(away)
        model = classifier().fit(np.concatenate(x).astype(np.float32), y)
        highest = [
            np.sort(cells[i].astype(np.float32) @ model.coef_[0])[-HIGHEST:].mean() for i in split.test
        ]
        found.append(
            (
                average_precision_score(split.test_labels, highest),
                roc_auc_score(split.test_labels, highest),
            )
        )
    return tuple(np.mean(found, axis=0))


def cell_recipes(features: FeatureSet) -> Iterator[tuple[str, list[Array]]]:
    """Yield the cell recipes of the table for a set with boxes."""
    full, small = features.cells[FULL], features.cells[SMALL]
    yield "cells: last map", [joined[:, :1280] for joined in full]
    yield "cells: earlier map", [joined[:, 1280:] for joined in full]
    yield "cells: both maps", full
    for name, cells, file in (
        ("32", full, "cell-projection.npz"),
        ("8", small, "cell-projection-adapted-int8.npz"),
    ):
        projection = load_projection(file)
        shipped = []
        for joined in cells:
            steps = projection.quantize(projection.turned @ joined.astype(np.float32).T)
            shipped.append(steps * projection.scale + projection.offset)
        yield f"cells: shipped projection, {name} bits", shipped
        if name == "8":
            pairs = zip(shipped, features.grids, strict=True)
            yield "cells: shipped, 8 bits, with neighbors", [with_neighbors(c, g) for c, g in pairs]


Row = tuple[str, str, str, int, float, float]


def evaluate(features: FeatureSet) -> Iterator[Row]:
    """Yield (recipe, set, tag, positives, average precision, ROC-AUC)."""
    wholes = {
        name: np.concatenate([unit(block) for block in recipe(features.parts)], axis=1)
        for name, recipe in whole_recipes().items()
    }
    cells = dict(cell_recipes(features)) if features.cells else {}
    for tag in sorted(features.labels):
        boxed = any(key[1] == tag for key in features.boxes)
        for positives in COUNTS:
            splits = draws(features, tag, positives)
            if not splits:
                continue
            for name, x in wholes.items():
                yield name, features.name, tag, positives, *score_whole(x, splits)
            for name, rows in cells.items() if boxed else ():
                yield name, features.name, tag, positives, *score_cells(rows, features, tag, splits)


def table(rows: list[Row]) -> str:
    """Return the Markdown table: a line per recipe, a column per set and number of positives."""
    columns = sorted({(row[1], row[3]) for row in rows})
    tags = {column: len({row[2] for row in rows if (row[1], row[3]) == column}) for column in columns}
    lines = [
        "| recipe | " + " | ".join(f"{name}, n={n} ({tags[name, n]} tags)" for name, n in columns) + " |",
        "| --- |" + " --- |" * len(columns),
    ]
    for recipe in dict.fromkeys(row[0] for row in rows):
        cells = []
        for column in columns:
            found = [row[4:] for row in rows if row[0] == recipe and (row[1], row[3]) == column]
            cells.append("{:.3f}/{:.3f}".format(*np.mean(found, axis=0)) if found else "")
        lines.append(f"| {recipe} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def main() -> int:
    """Extract, evaluate, print."""
    beside = os.environ.get("DECK_TRIAGE_SHARED", ROOT.parent / "shared")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=Path(beside) / "photos")
    parser.add_argument("--cache", type=Path, default=ROOT / ".cache" / "features")
    arguments = parser.parse_args()
    warnings.simplefilter("ignore", ConvergenceWarning)
    folders = [path.parent for path in sorted(arguments.photos.glob("*/labels.csv"))]
    rows: list[Row] = []
    for folder in [*folders, ROOT / "sample_photos"]:
        features = extract(folder.name, folder / "photos", folder / "labels.csv", arguments.cache)
        rows += list(evaluate(features))
        print(f"{folder.name}: {len(features.keys)} photos", file=sys.stderr)
    print(table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
