"""Whether what more labels are said to bring comes true: the learning curve's estimate against real labels.

    tools/bench/run outlook [--sets boards --labels 50] [--seeds 8]
    tools/bench/run outlook --sets materials --labels 230

Half of the decks are held out. Of the other half whole decks are labelled in a random order up to a number of
labels; `outlook` says from these alone what fifty more would bring; then fifty more are labelled and both
models are measured on the decks held out. Shown per number of labels: the mean gain that was said and the
one that came, how far off the estimate was on average, how far off 'no gain at all' would have been, the
share of the gains that came inside the interval, and how often nothing could be said. One gain that came
also carries the noise of one draw of fifty labels, which no estimate of the mean can know.
"""

from __future__ import annotations

import argparse

import numpy as np

from tools.bench.arrays import Set, load_set
from triage.presort.outlook import MORE, outlook
from triage.train.measures import average_precision

LEAST_POSITIVES = 25


def one(data: Set, tag: str, seed: int, labels: int) -> tuple[float, float, float, float] | str | None:
    """(said, low, high, came), why nothing was said, or None where the half has too few labels."""
    ours, held = data.halves(tag, seed)
    decks = np.random.default_rng(seed).permutation(sorted({data.decks[sha] for sha in ours}))
    order = [sha for deck in decks for sha in ours if data.decks[sha] == deck]
    truth = data.present(tag, held)
    if len(order) < labels + MORE or not truth.any() or truth.all():
        return None
    first = order[:labels]
    words = [data.labels[tag][sha] for sha in first]
    found = outlook(tag, data.decks, words, data.vectors.__getitem__)
    if found.gain is None or found.gain_low is None or found.gain_high is None:
        return found.why_not
    values = []
    for photos in (first, order[: labels + MORE]):
        model = data.train(tag, photos, ours)
        if model is None:
            return None
        values.append(float(average_precision(data.probabilities(model, held), truth)))
    return found.gain, found.gain_low, found.gain_high, values[1] - values[0]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=["boards"])
    parser.add_argument("--labels", nargs="+", type=int, default=[50])
    parser.add_argument("--seeds", type=int, default=8)
    options = parser.parse_args()
    print("| set | labels | cases | said | came | off by | off by, if none | inside (95 %) | cannot say |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for name in options.sets:
        data = load_set(name)
        tags = [
            tag
            for tag, found in sorted(data.labels.items())
            if sum(label.value == "present" for label in found.values()) >= LEAST_POSITIVES
        ]
        for labels in options.labels:
            found = [one(data, tag, seed, labels) for tag in tags for seed in range(options.seeds)]
            known = np.array([case for case in found if isinstance(case, tuple)])
            silent = sum(isinstance(case, str) for case in found)
            if not len(known):
                print(f"| {name} | {labels} | 0 | | | | | | {silent} |", flush=True)
                continue
            said, low, high, came = known.T
            print(
                f"| {name} | {labels} | {len(known)} | {said.mean():+.3f} | {came.mean():+.3f} "
                f"| {np.abs(said - came).mean():.3f} | {np.abs(came).mean():.3f} "
                f"| {np.mean((low <= came) & (came <= high)):.0%} | {silent} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
