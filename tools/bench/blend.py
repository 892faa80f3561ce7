"""Whole-photo score, cell score and their blend on left-out decks: what the blend loses or gains.

    tools/bench/run blend [--sets screws boards boards-unboxed materials demo] [--seeds 20] [--first 100]

Half of the decks are held out; decks of the other half are labeled in a random order until n positives are
reached. The trainer's own models, left-out scores and blend are used; figures are average precision on the
held-out decks. `loss` is that of the better of the two parts, chosen again on the test photos of each split
(which no rule can do), less that of the blend, with its standard error over splits. `boards-unboxed` are the
boards with every box taken away. The blend's rule was settled on splits 0 to 19; the default begins at 100.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tools.bench.arrays import Set, load_set
from triage.train import TagModel, train_tags
from triage.train.blend import join
from triage.train.cells import cell_scores
from triage.train.measures import average_precision

SETS = ("screws", "boards", "boards-unboxed", "materials", "demo")
POSITIVES = (10, 20, 40)
LEAST_PRESENT = 3
"""Present and absent photos that the held-out half must have."""


@dataclass(frozen=True)
class Found:
    """Average precision of the parts and of the blend on one split, and the share of the cells in it."""

    whole: float
    cells: float
    blend: float
    share: float


def labeled_until(found: Set, tag: str, n: int, seed: int) -> tuple[list[str], list[str]] | None:
    """Photos to train on and to test on, or None where the labeling half has too few positives."""
    photos = sorted(found.labels[tag])
    decks = sorted({found.decks[sha] for sha in photos})
    order = [decks[k] for k in np.random.default_rng(seed).permutation(len(decks))]
    held = set(order[: len(decks) // 2])
    test = [sha for sha in photos if found.decks[sha] in held]
    present = found.present(tag, test)
    if min(present.sum(), (1 - present).sum()) < LEAST_PRESENT:
        return None
    train: list[str] = []
    for deck in order[len(decks) // 2 :]:
        train += [sha for sha in photos if found.decks[sha] == deck]
        there = found.present(tag, train)
        if there.sum() >= n and not there.all():
            return train, test
    return None


def one_split(found: Set, tag: str, n: int, seed: int, unboxed: bool) -> Found | None:
    """Train on one split and measure the parts, or None where it cannot be drawn."""
    parts = labeled_until(found, tag, n, seed)
    if parts is None:
        return None
    train, test = parts
    labels = [found.labels[tag][sha] for sha in train]
    if unboxed:
        labels = [replace(label, boxes=()) for label in labels]
    photos = [(sha, found.decks[sha]) for sha in train]
    model = train_tags(photos, labels, found.vectors.__getitem__, tags=[tag], promise_rate=0.001)[tag]
    if not isinstance(model, TagModel) or model.cells is None:
        return None
    vectors = [found.vectors[sha] for sha in test]
    whole = np.array([model.whole.weights[0] @ one.whole for one in vectors]) + model.whole.bias[0]
    cells = np.array([cell_scores(one, model.cells.weights, model.cells.bias)[0] for one in vectors])
    present = found.present(tag, test)
    values = [
        float(average_precision(one, present)) for one in (whole, cells, join(model.blend, whole, cells))
    ]
    return Found(*values, 1 - model.blend[1])


def splits(name: str, first: int, seeds: int) -> Iterator[tuple[str, int, int, Found]]:
    """Yield (tag, positives, seed, figures), seed by seed, so that an early stop leaves all tags alike."""
    found = load_set(name.removesuffix("-unboxed"))
    for seed in range(first, first + seeds):
        for tag in sorted(found.labels):
            if name.endswith("-unboxed") and not any(label.boxes for label in found.labels[tag].values()):
                continue
            for n in POSITIVES:
                one = one_split(found, tag, n, seed, name.endswith("-unboxed"))
                if one is not None:
                    yield tag, n, seed, one


def row(*names: object, found: list[Found]) -> str:
    """One line of the table."""
    whole, cells, blend, share = (
        np.array([getattr(one, key) for one in found]) for key in Found.__annotations__
    )
    loss = np.maximum(whole, cells) - blend
    error = loss.std(ddof=1) / np.sqrt(len(loss)) if len(loss) > 1 else float("nan")
    begin = " | ".join(map(str, (*names, len(found))))
    return (
        f"| {begin} | {whole.mean():.3f} | {cells.mean():.3f} | {blend.mean():.3f} | {share.mean():.2f} "
        f"| {loss.mean():+.4f} ± {error:.4f} |"
    )


def main() -> None:
    """Print a table per set and its mean."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=SETS, choices=SETS)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=100)
    options = parser.parse_args()
    print("| set | tag | positives | splits | whole | cells | blend | share of cells | loss |")
    print("|" + " --- |" * 9)
    for name in options.sets:
        cells = defaultdict(list)
        for tag, n, seed, one in splits(name, options.first, options.seeds):
            cells[tag, n].append(one)
            if sum(map(len, cells.values())) % 50 == 0:
                print(row("so far", f"split {seed}", name, found=sum(cells.values(), [])), flush=True)
        for (tag, n), found in sorted(cells.items()):
            print(row(name, tag, n, found=found), flush=True)
        if cells:
            print(row(name, "all", "all", found=sum(cells.values(), [])), flush=True)


if __name__ == "__main__":
    main()
