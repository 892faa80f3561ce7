"""Defects found in the first photos looked at: in presort's order, in the order of the camera, at random.

    tools/bench/run found [--sets boards screws materials demo] [--positives 20] [--seeds 10]

Half of the decks are new. Decks of the other half are labeled in a random order until so many photos show
the tag; a model is trained on them and puts the photos of the new decks in the order `dangerous`. Shown is
the share of the new photos with the tag that are among the first 10, 20 and 30 % of the photos. *Camera*: by
the time taken, or by deck and name where no camera states it (boards, screws; the names of materials follow
the material, so there it is left out). *At random* that share is 10, 20 and 30 % by definition. *Best* is
what no order can beat, as a common tag does not fit into the first tenth. 95 % intervals draw the new decks
of each seed again. The last line of a set, where a photo may show several defects, looks at each photo once
for all tags, by its largest probability.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from tools.bench.arrays import Set, load_set

FIRST = (0.1, 0.2, 0.3)
DRAWS = 400
LEAST_POSITIVES = 12
SEVERAL = {
    "boards": ("crack", "dead-knot", "knot-missing", "knot-with-crack", "resin"),
    "demo": (
        "missing-hanger",
        "rusted-connector",
        "nail-only-ledger",
        "debris-at-flashing",
        "side-bolted-beam",
    ),
}
"""Defects of sets whose photos may show more than one; sound knots are none."""
NAMED_BY_TAG = ("materials",)


@dataclass(frozen=True, eq=False)
class Run:
    """The new photos of one seed: decks, defects that each shows, and the keys of the two orders."""

    decks: np.ndarray
    defects: np.ndarray
    danger: np.ndarray
    camera: np.ndarray


def labeled(data: Set, tag: str, ours: list[str], seed: int, positives: int) -> list[str]:
    """Photos of whole decks in a random order until so many show the tag."""
    decks = np.random.default_rng(seed).permutation(sorted({data.decks[sha] for sha in ours}))
    found: list[str] = []
    for deck in decks:
        found += [sha for sha in ours if data.decks[sha] == deck and sha in data.labels[tag]]
        if data.present(tag, found).sum() >= positives:
            break
    return found


def run(data: Set, tags: tuple[str, ...], seed: int, positives: int) -> Run | None:
    """One seed; None where no tag has enough labels for a model, or nothing is to be found."""
    ours, held = data.halves(tags[0], seed)
    held = [sha for sha in held if all(sha in data.labels[tag] for tag in tags)]
    chances = []
    for tag in tags:
        model = data.train(tag, labeled(data, tag, ours, seed, positives), ours)
        if model is not None:
            chances.append(data.probabilities(model, held))
    defects = np.sum([data.present(tag, held) for tag in tags], axis=0)
    if not chances or not defects.any():
        return None
    order = sorted(range(len(held)), key=lambda place: data.taken[held[place]])
    camera = np.empty(len(held))
    camera[order] = -np.arange(len(held))
    return Run(np.array([data.decks[sha] for sha in held]), defects, np.max(chances, axis=0), camera)


def found(key: np.ndarray, defects: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """(3,) share of the defects among the first photos by a key, highest first, each photo counted so often.

    Where the limit falls within a photo, that part of it counts; photos of one key share what falls on them.
    """
    order = np.argsort(-key, kind="stable")
    seen = np.cumsum(weights[order])
    got = np.cumsum((weights * defects)[order])
    last = np.append(np.diff(key[order]) != 0, True)
    seen, got = np.append(0, seen[last]), np.append(0, got[last])
    return np.asarray(np.interp(np.array(FIRST) * seen[-1], seen, got) / got[-1])


def table(runs: list[Run]) -> dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Per order the mean shares over runs (3,), and their intervals' ends."""
    draw = np.random.default_rng(0)
    rows: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
    keys = {"presort": "danger", "camera": "camera", "best": "defects"}
    drawn: dict[str, list[np.ndarray]] = {name: [] for name in keys}
    now: dict[str, list[np.ndarray]] = {name: [] for name in keys}
    for one in runs:
        names, place = np.unique(one.decks, return_inverse=True)
        times = draw.multinomial(len(names), np.full(len(names), 1 / len(names)), DRAWS)[:, place]
        times = times[(times * one.defects).sum(axis=1) > 0]
        times = times[np.arange(DRAWS) % len(times)]
        for name, field in keys.items():
            key = getattr(one, field)
            now[name].append(found(key, one.defects, np.ones(len(key))))
            drawn[name].append(np.array([found(key, one.defects, weights) for weights in times]))
    for name in keys:
        low, high = np.quantile(np.mean(drawn[name], axis=0), [0.025, 0.975], axis=0)
        rows[name] = (np.mean(now[name], axis=0), low, high)
    return rows


def line(name: str, what: str, runs: list[Run]) -> str:
    """One line of the table."""
    rows = table(runs)
    share = float(np.mean([np.mean(one.defects > 0) for one in runs]))
    cells = []
    for k in range(len(FIRST)):
        value, low, high = (part[k] for part in rows["presort"])
        camera = "–" if name in NAMED_BY_TAG else f"{rows['camera'][0][k]:.0%}"
        cells.append(f"**{value:.0%}** ({low:.0%} to {high:.0%}), {camera}, {rows['best'][0][k]:.0%}")
    return f"| {name} | {what} | {share:.2f} | {len(runs)} | {' | '.join(cells)} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=["boards", "screws", "materials", "demo"])
    parser.add_argument("--positives", type=int, default=20)
    parser.add_argument("--seeds", type=int, default=10)
    options = parser.parse_args()
    heads = [f"first {first:.0%}: **presort** (95 %), camera, best" for first in FIRST]
    print(f"| set | tag | share | seeds | {' | '.join(heads)} |\n|{' --- |' * (4 + len(FIRST))}")
    for name in options.sets:
        data = load_set(name)
        chosen = SEVERAL.get(name, tuple(sorted(data.labels)))
        groups = [(tag,) for tag in chosen]
        groups += [chosen] if name in SEVERAL else []
        for tags in groups:
            values = [label.value for tag in tags for label in data.labels[tag].values()]
            if values.count("present") < LEAST_POSITIVES:
                continue
            runs = [run(data, tags, seed, options.positives) for seed in range(options.seeds)]
            kept = [one for one in runs if one is not None]
            if kept:
                print(line(name, tags[0] if len(tags) == 1 else "all defects", kept), flush=True)


if __name__ == "__main__":
    main()
