"""The promise over 1,000 drawn libraries, each trained and asked for real, and a broken variant beside it.

    tools/bench/run promise [--draws 1000]

Each draw makes decks with and without the defect as vectors with a deck effect, trains leave-one-out ridge
classifiers on the n decks with the defect and all others, sets the threshold, and asks how many of the
positive photos of a deck never seen are put in `unlikely` by the largest of the n scores. Mean miss share,
its standard error, and the share of negative photos spared; `broken` counts decks without the defect as decks
that lost nothing.
"""

from __future__ import annotations

import argparse

import numpy as np

from triage.train.promise import threshold

DIMENSIONS = 12
PHOTOS = 5


def make_deck(draw: np.random.Generator, defect: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return vectors (PHOTOS, DIMENSIONS) and labels (PHOTOS,) of one deck."""
    labels = (draw.random(PHOTOS) < 0.5) if defect else np.zeros(PHOTOS, bool)
    if defect and not labels.any():
        labels[draw.integers(PHOTOS)] = True
    rows = draw.normal(0, 1, (PHOTOS, DIMENSIONS)) + draw.normal(0, 0.7, DIMENSIONS)
    rows[labels, 0] += draw.normal(2.0, 1.0)
    rows[labels, 1] += 1.0
    return rows, labels


def fit(rows: np.ndarray, labels: np.ndarray) -> np.ndarray:
    """Return ridge weights with bias, classes balanced."""
    weights = np.where(labels, 1 / max(1, labels.sum()), 1 / max(1, (~labels).sum()))
    wide = np.column_stack([rows, np.ones(len(rows))])
    left = (wide * weights[:, None]).T @ wide + 0.05 * np.eye(wide.shape[1])
    return np.linalg.solve(left, (wide * weights[:, None]).T @ np.where(labels, 1.0, -1.0))


def one_draw(draw: np.random.Generator, alpha: float, n: int, broken: bool) -> tuple[float, float]:
    """Return (miss share of the next deck, share of its batch's negatives that are spared)."""
    with_defect = [make_deck(draw, True) for _ in range(n)]
    without = [make_deck(draw, False) for _ in range(n)]
    models, losses = [], []
    for left_out in range(n):
        kept = [deck for place, deck in enumerate(with_defect) if place != left_out] + without
        model = fit(
            np.concatenate([rows for rows, _ in kept]), np.concatenate([labels for _, labels in kept])
        )
        models.append(model)
        rows, labels = with_defect[left_out]
        losses.append(rows[labels] @ model[:-1] + model[-1])
    if broken:
        losses += [np.array([np.inf])] * n
    at = threshold(losses, alpha)
    if at is None:
        return 0.0, 0.0
    weights = np.stack(models)

    def unlikely(rows: np.ndarray) -> np.ndarray:
        return (rows @ weights[:, :-1].T + weights[:, -1]).max(axis=1) < at

    rows, labels = make_deck(draw, True)
    other = make_deck(draw, False)[0]
    return float(unlikely(rows[labels]).mean()), float(unlikely(other).mean())


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=1000)
    options = parser.parse_args()
    heads = ("promised", "decks", "mean missed", "standard error", "negatives spared", "broken")
    print(f"| {' | '.join(heads)} |")
    print("|" + " --- |" * len(heads))
    for alpha, n in ((0.10, 10), (0.10, 20), (0.10, 40), (0.05, 20), (0.05, 40), (0.02, 50)):
        draw = np.random.default_rng(int(alpha * 1000) + n)
        found = np.array([one_draw(draw, alpha, n, False) for _ in range(options.draws)])
        bad = np.array([one_draw(draw, alpha, n, True)[0] for _ in range(options.draws // 4)])
        error = found[:, 0].std(ddof=1) / np.sqrt(len(found))
        print(
            f"| {alpha:.0%} | {n} | {found[:, 0].mean():.3f} | {error:.3f} | {found[:, 1].mean():.2f} "
            f"| {bad.mean():.3f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
