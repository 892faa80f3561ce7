"""Where it looked: whether the place that a model points at lies in the box that a person drew.

    tools/bench/run looked [--sets boards demo] [--boxed 0 5] [--seeds 4] [--original]

`--sets seasons` takes the decks of `tools/render/run --seasons N`, which no network has seen; `--original`
the network before it was adapted.

Half of the decks train, with all their boxes and, in the next lines of each tag, with boxes on so many photos
only; photos of the other half that show the tag and have a box are asked. *Pointing game* (J. Zhang and
others, Top-down Neural Attention by Excitation Backprop, ECCV 2016): the share of photos whose highest cell
lies in a box. *Mass inside*: the share of the cells' odds, normalized over the photo, that lies in boxes.
Both stand against the photo's middle: the middle cell, and a box of the labeled area and the photo's shape
in the middle of the photo (mass spread evenly over it). *Chance* is the boxes' share of the photo. 95 %
intervals resample the decks; a deck that is held out under several seeds is one deck.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tools.bench.arrays import Set, load_set
from triage.features.recipe import make_recipe
from triage.train.cells import inside, linear_maps

LEAST_BOXED = 12
DRAWS = 2000


@dataclass(frozen=True)
class Looked:
    """One held-out photo: whether the pointed cell and the middle one hit, masses inside, chance."""

    deck: str
    hit: float
    middle_hit: float
    mass: float
    middle_mass: float
    chance: float


def with_few_boxes(data: Set, tag: str, photos: list[str], most: int) -> Set:
    """The set as if people had drawn boxes on so many of the photos only, whichever come first by hash."""
    boxed = [sha for sha in sorted(photos) if data.labels[tag][sha].boxes][most:]
    labels = {**data.labels[tag], **{sha: replace(data.labels[tag][sha], boxes=()) for sha in boxed}}
    return replace(data, labels={**data.labels, tag: labels})


def look(data: Set, tag: str, seed: int, *, boxed: int | None = None) -> list[Looked]:
    """What a model of half of the decks, all or `boxed` photos with boxes, points at in the other half's."""
    ours, held = data.halves(tag, seed)
    asked = [sha for sha in held if data.labels[tag][sha].boxes]
    trained = data if boxed is None else with_few_boxes(data, tag, ours, boxed)
    model = trained.train(tag, ours, ours)
    if model is None or model.cells is None:
        return []
    return [_one(data, tag, sha, model.cells.weights[:1]) for sha in asked]


def _one(data: Set, tag: str, sha: str, weights: np.ndarray) -> Looked:
    vectors = data.vectors[sha]
    drawn = data.labels[tag][sha].boxes
    cells = np.asarray(vectors.cell_boxes(), float)
    marked = inside(drawn, vectors.cell_boxes())
    scores = linear_maps(vectors.cells_float(), vectors.grid, weights)[0]
    odds = np.exp(scores - scores.max())
    center = np.abs(cells[:, :2] + cells[:, 2:] / 2 - 0.5).max(axis=1)
    share = covered(cells, drawn)
    share = share if share.any() else marked.astype(float)  # a point marks the cell that holds it
    middle = covered(cells, [middle_box(float((share * cells[:, 2] * cells[:, 3]).sum()))])
    return Looked(
        deck=data.decks[sha],
        hit=float(marked[int(np.argmax(scores))]),
        middle_hit=float(marked[int(np.argmin(center))]),
        mass=float((odds * share).sum() / odds.sum()),
        middle_mass=float((middle * share).sum() / middle.sum()),
        chance=float((share * cells[:, 2] * cells[:, 3]).sum()),
    )


def middle_box(area: float) -> tuple[float, float, float, float]:
    """A box of the photo's shape and a share of its area, in its middle."""
    side = float(np.sqrt(area))
    return (0.5 - side / 2, 0.5 - side / 2, side, side)


def covered(cells: np.ndarray, boxes: Sequence[tuple[float, ...]]) -> np.ndarray:
    """(n,) share of each cell (n, 4) that lies in boxes; where boxes overlap at most 1."""
    found = np.zeros(len(cells))
    for x, y, width, height in boxes:
        across = np.minimum(cells[:, 0] + cells[:, 2], x + width) - np.maximum(cells[:, 0], x)
        down = np.minimum(cells[:, 1] + cells[:, 3], y + height) - np.maximum(cells[:, 1], y)
        found += np.maximum(across, 0) * np.maximum(down, 0) / (cells[:, 2] * cells[:, 3])
    return np.minimum(found, 1)


def means(found: list[Looked], *names: str) -> list[tuple[float, float, float]]:
    """Mean of each field over photos (or of `one-other`), with its interval over decks."""
    decks, place = np.unique([one.deck for one in found], return_inverse=True)
    times = np.random.default_rng(0).multinomial(len(decks), np.full(len(decks), 1 / len(decks)), DRAWS)
    weights = times[:, place].astype(float)
    rows = []
    for name in names:
        first, _, less = name.partition("-")
        values = np.array([getattr(one, first) - (getattr(one, less) if less else 0.0) for one in found])
        drawn = weights @ values / weights.sum(axis=1)
        rows.append((float(values.mean()), *(float(edge) for edge in np.quantile(drawn, [0.025, 0.975]))))
    return rows


def line(name: str, tag: str, how: str, found: list[Looked]) -> str:
    """One line of the table."""
    names = ("hit", "middle_hit", "hit-middle_hit", "mass", "middle_mass", "mass-middle_mass", "chance")
    hit, middle, more, mass, middle_mass, more_mass, chance = means(found, *names)
    decks = len({one.deck for one in found})
    shown = " | ".join(f"{a:.2f} ({b:.2f} to {c:.2f})" for a, b, c in (hit, middle, more, mass))
    return (
        f"| {name} | {tag} | {how} | {len(found)} / {decks} | {shown} | {middle_mass[0]:.2f} "
        f"| {more_mass[0]:+.2f} ({more_mass[1]:+.2f} to {more_mass[2]:+.2f}) | {chance[0]:.2f} |"
    )


HEADS = (
    "set",
    "tag",
    "trained",
    "looks / decks",
    "pointing game",
    "photo's middle",
    "difference",
    "mass inside",
    "of a middle box",
    "difference",
    "chance",
)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=["boards", "demo"])
    parser.add_argument("--boxed", nargs="*", type=int, default=[0, 5])
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--original", action="store_true", help="the network before it was adapted")
    options = parser.parse_args()
    recipe = make_recipe("efficientnet-lite0.onnx", "cell-projection.npz") if options.original else None
    print(f"| {' | '.join(HEADS)} |\n|{' --- |' * len(HEADS)}")
    for name in options.sets:
        data = load_set(name, recipe)
        for tag in sorted(data.labels):
            if sum(bool(label.boxes) for label in data.labels[tag].values()) < LEAST_BOXED:
                continue
            for boxed in (None, *options.boxed):
                found = [one for seed in range(options.seeds) for one in look(data, tag, seed, boxed=boxed)]
                if found:
                    how = "all boxes" if boxed is None else f"{boxed} boxed photos"
                    print(line(name, tag, how, found), flush=True)


if __name__ == "__main__":
    main()
