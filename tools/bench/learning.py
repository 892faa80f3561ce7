"""How many labels fewer the order `learning` needs than a random one, and how well `like` finds alike photos.

    tools/bench/run learning [--sets screws boards materials] [--seeds 20]

For each tag half of the decks are held out. Photos of the other half are labelled in lots of five, by
`next_to_label` (no model at first, then with the probabilities of the model so far) or at random; after
each lot a model is trained and its average precision on the held-out decks compared with the ceiling, the
model of all labels. Counted are the labels to nine tenths of the ceiling, paired over seeds. `like`: of the
ten photos that are nearest to a photo with the tag, the share that has it too, beside the share in the set.
"""

from __future__ import annotations

import argparse

import numpy as np

from tools.bench.arrays import Set, load_set
from triage.label.selection import Pool, next_to_label
from triage.train.measures import average_precision

LOT = 5
SHARE = 0.9
LEAST_POSITIVES = 25


def labels_needed(
    data: Set, tag: str, seed: int, order: str, ceiling: float, most: int
) -> tuple[int, list[str]]:
    """Labels until nine tenths of the ceiling (or `most`), and the photos labelled."""
    ours, held = data.halves(tag, seed)
    truth = data.present(tag, held)
    decks = [data.decks[sha] for sha in ours]
    rows = np.stack([data.vectors[sha].whole for sha in ours])
    drawn = list(np.random.default_rng(seed).permutation(ours))
    labelled: list[str] = []
    chances = None
    while len(labelled) < min(most, len(ours)):
        if order == "random":
            new = drawn[len(labelled) : len(labelled) + LOT]
        else:
            done = set(labelled)
            pool = Pool(ours, decks, rows, np.array([sha in done for sha in ours]), chances)
            new = next_to_label(pool, LOT, order=order, seed=seed)
        if not len(new):
            break
        labelled += list(map(str, new))
        model = data.train(tag, labelled, ours)
        if model is None:
            continue
        if float(average_precision(data.probabilities(model, held), truth)) >= SHARE * ceiling:
            return len(labelled), labelled
        chances = data.probabilities(model, ours) if order != "random" else None
    return min(most, len(ours)), labelled


def bench(data: Set, tag: str, seeds: int, most: int) -> tuple[list[int], list[int]]:
    """Labels needed at random and by `learning`, one pair a seed."""
    random, learning = [], []
    for seed in range(seeds):
        ours, held = data.halves(tag, seed)
        truth = data.present(tag, held)
        full = data.train(tag, ours, ours)
        if full is None or not truth.any() or truth.all():
            continue
        ceiling = float(average_precision(data.probabilities(full, held), truth))
        random.append(labels_needed(data, tag, seed, "random", ceiling, most)[0])
        learning.append(labels_needed(data, tag, seed, "learning", ceiling, most)[0])
    return random, learning


def precision_at_ten(data: Set, tag: str) -> tuple[float, float]:
    """Mean share of the ten nearest photos of other decks that have the tag, and the share in the set."""
    photos = sorted(data.labels[tag])
    truth = dict(zip(photos, data.present(tag, photos), strict=True))
    rows = np.stack([data.vectors[sha].whole for sha in photos])
    found = []
    for sha in [one for one in photos if truth[one]][:40]:
        same = np.array([data.decks[one] == data.decks[sha] and one != sha for one in photos])
        pool = Pool(photos, [data.decks[one] for one in photos], rows, same)
        near = next_to_label(pool, 10, order="like", like=sha)
        found.append(np.mean([truth[one] for one in near]))
    return float(np.mean(found)), float(np.mean(list(truth.values())))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=["screws", "boards", "materials"])
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--most", type=int, default=120)
    options = parser.parse_args()
    print("| set | tag | at random | by learning | fewer (± std. error) | like: precision at 10 | share |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    everything: list[tuple[list[int], list[int]]] = []
    for name in options.sets:
        data = load_set(name)
        for tag in sorted(data.labels):
            if sum(label.value == "present" for label in data.labels[tag].values()) < LEAST_POSITIVES:
                continue
            random, learning = bench(data, tag, options.seeds, options.most)
            everything.append((random, learning))
            like, share = precision_at_ten(data, tag)
            print(f"| {name} | {tag} | {row(random, learning)} | {like:.2f} | {share:.2f} |", flush=True)
    pooled = [sum((pair[k] for pair in everything), []) for k in (0, 1)]
    print(f"| all | | {row(*pooled)} | | |")


def row(random: list[int], learning: list[int]) -> str:
    """Means, and the mean paired difference as a share of the labels at random."""
    before, gain = float(np.mean(random)), np.array(random, float) - np.array(learning, float)
    error = float(gain.std(ddof=1) / np.sqrt(len(gain))) if len(gain) > 1 else float("nan")
    return f"{before:.1f} | {np.mean(learning):.1f} | {gain.mean() / before:.0%} ± {error / before:.0%}"


if __name__ == "__main__":
    main()
