"""How many labels fewer the order `learning` needs than a random one, and how well `like` finds alike photos.

    tools/bench/run learning [--sets screws boards materials demo] [--seeds 20] [--json FILE]

For each tag half of the decks are held out. Photos of the other half are labeled in lots of five, by
`next_to_label` (no model at first, then with the probabilities of the model so far) or at random; after
each lot a model is trained and its average precision on the held-out decks compared with the ceiling, the
model of all labels. Counted are the labels to nine tenths of the ceiling, paired over seeds; the interval
(95 %) resamples seeds. The last lines are means over tags, over each set's. `like`: of the ten photos of
other decks that are nearest to a photo with the tag, the share that has it too (95 % by drawing the start
photos' decks again), beside the share in the set. The demo library is rendered: no claim about real decks.

`--quick` puts the trainer's logistic regression on whole vectors alone in its place, where a set is large.

The rule was chosen on boards and demo with the seeds 100 to 119; screws, materials and all seeds below 100
took no part in that (`--first 100` gives the others).
"""

from __future__ import annotations

import argparse
import json
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import expit

from tools.bench.arrays import Set, load_set
from triage.label.selection import Pool, next_to_label
from triage.train.fitting import WHOLE_C
from triage.train.linear import balanced, fit_dual, prior_shift
from triage.train.measures import average_precision

LOT = 5
SHARE = 0.9
LEAST_POSITIVES = 20
MOST_STARTS = 60
DRAWS = 2000


class Quick(Set):
    """The set with the trainer's logistic regression on whole vectors alone: no cells, no folds."""

    @cached_property
    def rows(self) -> dict[str, np.ndarray]:
        """Vectors turned onto their own span: the same inner products in fewer numbers."""
        shas = sorted(self.vectors)
        whole = np.stack([self.vectors[sha].whole for sha in shas]).astype(float)
        left, sizes, _ = np.linalg.svd(whole, full_matrices=False)
        return dict(zip(shas, left * sizes, strict=True))

    def train(self, tag: str, photos: list[str], of: list[str]) -> Any:
        """Weights and bias of the fit, with the labels' own prior; None below two of each."""
        truth = self.present(tag, photos)
        if min(truth.sum(), (1 - truth).sum()) < 2:
            return None
        rows, ones = np.stack([self.rows[sha] for sha in photos]), np.ones(len(photos))
        duals, bias = fit_dual(rows @ rows.T, truth, balanced(truth, ones), WHOLE_C, tolerance=1e-4)
        return duals @ rows, bias + prior_shift(truth, ones)

    def probabilities(self, model: Any, photos: list[str]) -> np.ndarray:
        """(n,) as the regression says."""
        return np.asarray(expit(np.stack([self.rows[sha] for sha in photos]) @ model[0] + model[1]))


def labels_needed(
    data: Set, tag: str, seed: int, order: str, ceiling: float, most: int
) -> tuple[int, list[str]]:
    """Labels until nine tenths of the ceiling (or `most`), and the photos labeled."""
    ours, held = data.halves(tag, seed)
    truth = data.present(tag, held)
    decks = [data.decks[sha] for sha in ours]
    rows = np.stack([data.vectors[sha].whole for sha in ours])
    drawn = list(np.random.default_rng(seed).permutation(ours))
    labeled: list[str] = []
    chances = None
    while len(labeled) < min(most, len(ours)):
        if order == "random":
            new = drawn[len(labeled) : len(labeled) + LOT]
        else:
            done = set(labeled)
            pool = Pool(ours, decks, rows, np.array([sha in done for sha in ours]), chances)
            new = next_to_label(pool, LOT, order=order, seed=seed)
        if not len(new):
            break
        labeled += list(map(str, new))
        model = data.train(tag, labeled, ours)
        if model is None:
            continue
        if float(average_precision(data.probabilities(model, held), truth)) >= SHARE * ceiling:
            return len(labeled), labeled
        chances = data.probabilities(model, ours) if order != "random" else None
    return min(most, len(ours)), labeled


def bench(data: Set, tag: str, seeds: range, most: int) -> tuple[list[int], list[int]]:
    """Labels needed at random and by `learning`, one pair for each seed."""
    random, learning = [], []
    for seed in seeds:
        ours, held = data.halves(tag, seed)
        truth = data.present(tag, held)
        full = data.train(tag, ours, ours)
        if full is None or not truth.any() or truth.all():
            continue
        ceiling = float(average_precision(data.probabilities(full, held), truth))
        random.append(labels_needed(data, tag, seed, "random", ceiling, most)[0])
        learning.append(labels_needed(data, tag, seed, "learning", ceiling, most)[0])
    return random, learning


def precision_at_ten(data: Set, tag: str) -> tuple[float, float, float, float]:
    """Share of the ten nearest photos of other decks that have it, its interval, and the share in the set."""
    photos = sorted(data.labels[tag])
    truth = dict(zip(photos, data.present(tag, photos), strict=True))
    decks = [data.decks[sha] for sha in photos]
    rows = np.stack([data.vectors[sha].whole for sha in photos])
    found: dict[str, list[float]] = {}
    for sha in [one for one in photos if truth[one]][:MOST_STARTS]:
        same = np.array(
            [deck == data.decks[sha] and one != sha for one, deck in zip(photos, decks, strict=True)]
        )
        near = next_to_label(Pool(photos, decks, rows, same), 10, order="like", like=sha)
        found.setdefault(data.decks[sha], []).append(float(np.mean([truth[one] for one in near])))
    means = np.array([np.mean(values) for values in found.values()])
    drawn = means[np.random.default_rng(0).integers(0, len(means), (DRAWS, len(means)))].mean(axis=1)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(means.mean()), float(low), float(high), float(np.mean(list(truth.values())))


def saved(pairs: list[tuple[list[int], list[int]]]) -> tuple[float, float, float]:
    """Mean over tags of the share of labels saved, and its 95 % interval by resampling each tag's seeds."""
    draw = np.random.default_rng(0)

    def share(random: np.ndarray, learning: np.ndarray) -> np.ndarray:
        return np.asarray(1 - learning.mean(axis=-1) / random.mean(axis=-1))

    now, drawn = [], []
    for random, learning in pairs:
        before, after = np.array(random, float), np.array(learning, float)
        chosen = draw.integers(0, len(before), (DRAWS, len(before)))
        now.append(float(share(before, after)))
        drawn.append(share(before[chosen], after[chosen]))
    low, high = np.quantile(np.mean(drawn, axis=0), [0.025, 0.975])
    return float(np.mean(now)), float(low), float(high)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=["screws", "boards", "materials", "demo"])
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--most", type=int, default=150)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--quick", action="store_true", help="whole vectors alone")
    options = parser.parse_args()
    print("| set | tag | share | at random | by learning | fewer (95 %) | like: precision at 10 (95 %) |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    rows: list[dict[str, Any]] = []
    for name in options.sets:
        data = load_set(name)
        data = Quick(**vars(data)) if options.quick else data
        for tag in sorted(data.labels):
            values = [label.value for label in data.labels[tag].values()]
            if min(values.count("present"), values.count("absent")) < LEAST_POSITIVES:
                continue
            random, learning = bench(
                data, tag, range(options.first, options.first + options.seeds), options.most
            )
            if not random:
                continue
            rows.append({"set": name, "tag": tag, "random": random, "learning": learning})
            like, low, high, share = precision_at_ten(data, tag)
            print(
                f"| {name} | {tag} | {share:.2f} | {np.mean(random):.1f} | {np.mean(learning):.1f} "
                f"| {said(saved([(random, learning)]))} | {like:.2f} ({low:.2f} to {high:.2f}) |",
                flush=True,
            )
            if options.json:
                options.json.write_text(json.dumps(rows))
    for name in [*options.sets, "all"]:
        pairs = [(row["random"], row["learning"]) for row in rows if name in (row["set"], "all")]
        if pairs:
            print(f"| {name} | mean of {len(pairs)} tags | | | | {said(saved(pairs))} | |")


def said(found: tuple[float, float, float]) -> str:
    """A share with its interval."""
    return f"{found[0]:.0%} ({found[1]:.0%} to {found[2]:.0%})"


if __name__ == "__main__":
    main()
