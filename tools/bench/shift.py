"""How often the promise is withdrawn for ordinary decks, and how often for decks of another kind.

    tools/bench/run shift [--sets boards materials screws demo] [--splits 10000]

Per set decks are split at random into training decks and a batch of new ones, many times; a batch counts as
withdrawn where `triage.presort.shift` calls it unlike (Simes' p-value of its decks at most 5 %). For ordinary
decks of the same set that is false and must be at most 5 %. Beside it the same with a batch of another set,
where it is right. Splits of one set overlap, so the standard error is of the splits alone. Where a set has
only photos of one thing by one camera, other decks of it are as ordinary as they can be.
"""

from __future__ import annotations

import argparse

import numpy as np

from tools.bench.arrays import Set, load_set
from triage.presort.shift import LEAST_DECKS, LEVEL, MOST_PHOTOS_A_DECK, deck_p_values, simes

BATCHES = (1, 5, 20)
SHARES = (0.5, 0.75)


def deck_means(data: Set) -> np.ndarray:
    """(decks, D) mean photo vector of each deck, as presort takes it."""
    photos: dict[str, list[str]] = {}
    for sha in sorted(data.decks, key=lambda one: data.taken.get(one, one)):
        photos.setdefault(data.decks[sha], []).append(sha)
    return np.stack(
        [
            np.mean([data.vectors[sha].whole for sha in photos[deck][:MOST_PHOTOS_A_DECK]], axis=0)
            for deck in sorted(photos)
        ]
    ).astype(np.float64)


def withdrawn(
    decks: np.ndarray, training: int, batch: int, splits: int, seed: int = 0, others: np.ndarray | None = None
) -> float:
    """Share of the splits whose batch is called unlike; the batch is drawn from `others` where given."""
    draw = np.random.default_rng(seed)
    called = 0
    for _ in range(splits):
        order = draw.permutation(len(decks))
        ours = decks[order[:training]]
        if others is None:
            theirs = decks[order[training : training + batch]]
        else:
            theirs = others[draw.permutation(len(others))[:batch]]
        called += simes(deck_p_values(ours, theirs)) <= LEVEL
    return called / splits


def reduced(*sets: np.ndarray) -> list[np.ndarray]:
    """The same points in as few numbers as hold all their distances: a rotation onto their own span."""
    everything = np.concatenate(sets)
    middle = everything.mean(axis=0)
    _, _, axes = np.linalg.svd(everything - middle, full_matrices=False)
    return [(one - middle) @ axes.T for one in sets]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=["boards", "materials", "screws", "demo"])
    parser.add_argument("--splits", type=int, default=10_000)
    options = parser.parse_args()
    points = reduced(*[deck_means(load_set(name)) for name in options.sets])
    print("| set | training decks | new decks | withdrawn, same set (std. error) | withdrawn, another set |")
    print("| --- | --- | --- | --- | --- |")
    for k, name in enumerate(options.sets):
        decks, others = points[k], np.concatenate([one for j, one in enumerate(points) if j != k])
        for training in sorted({max(LEAST_DECKS, round(share * len(decks))) for share in SHARES}):
            for batch in BATCHES:
                if training + batch > len(decks):
                    continue
                false = withdrawn(decks, training, batch, options.splits)
                error = np.sqrt(false * (1 - false) / options.splits)
                right = withdrawn(decks, training, batch, max(20, options.splits // 50), 1, others)
                print(
                    f"| {name} | {training} | {batch} | {false:.1%} ({error:.1%}) | {right:.0%} |", flush=True
                )


if __name__ == "__main__":
    main()
