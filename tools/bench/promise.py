"""The promise over many drawn libraries and on real photos, with a deliberately broken variant beside it.

    tools/bench/run promise [ridge] [trainer] [real] [--draws 1000] [--trained 200] [--splits 10] [--out FILE]

ridge: each draw makes n decks with the defect and n without as vectors with a deck effect, fits one ridge
classifier per left-out deck, sets the threshold, and asks which share of the positive photos of a deck never
seen is put in `unlikely` by the largest of the n scores.
trainer: the same decks as photo vectors with boxes among the cells, through `train_tags` and `suggest`, fewer
times (`--trained`; half as often from 40 decks on).
real: decks of the real sets split in two again and again; trained on one half, asked on the other. A deck's
miss is its mean over the splits that held it out, the error is by bootstrap over decks.

`broken` counts decks without the defect as decks that lost nothing. With as many of them as of the others,
its criterion lets the labeled decks lose ``(alpha (2 n + 1) - 1) / n`` on average: .110 at 10 % and 10
decks, .053 at 5 % and 20, barely more than was promised. Asking the largest of n scores takes more than that
away again, so there the broken variant keeps the promise too and no test of misses can catch it, however many
the draws; the table says where that is so, and how many draws are needed where it is a matter of number.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Callable, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import numpy as np

from triage.features.recipe import make_recipe
from triage.features.vectors import PhotoVectors
from triage.presort import suggest
from triage.train import TagModel, TrainingLabel, train_tags
from triage.train.promise import decks_needed, threshold

if TYPE_CHECKING:
    from tools.bench.arrays import Set

DIMENSIONS = 12
PHOTOS = 5
SETTINGS = ((0.10, 10), (0.10, 20), (0.10, 40), (0.05, 20), (0.05, 40), (0.02, 50))
GRID, CELL_DIM = (6, 8), 8
TAG = "defect"
REAL = ("screws", "boards", "materials")
Deck = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Asked:
    """One draw: the next deck's missed share, negatives spared, and what the broken variant misses."""

    missed: float
    spared: float
    broken: float


def make_deck(draw: np.random.Generator, defect: bool) -> Deck:
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


def by_ridge(draw: np.random.Generator, alpha: float, n: int) -> Asked:
    """One drawn library through a ridge classifier."""
    with_defect = [make_deck(draw, True) for _ in range(n)]
    without = [make_deck(draw, False) for _ in range(n)]
    models, left_out_scores = [], []
    for left_out in range(n):
        kept = [deck for place, deck in enumerate(with_defect) if place != left_out] + without
        model = fit(np.concatenate([rows for rows, _ in kept]), np.concatenate([y for _, y in kept]))
        models.append(model)
        rows, labels = with_defect[left_out]
        left_out_scores.append(rows[labels] @ model[:-1] + model[-1])
    weights = np.stack(models)

    def below(rows: np.ndarray, at: float | None) -> float:
        largest = (rows @ weights[:, :-1].T + weights[:, -1]).max(axis=1)
        return 0.0 if at is None else float(np.mean(largest < at))

    at = threshold(left_out_scores, alpha)
    broken_at = threshold([*left_out_scores, *[np.array([np.inf])] * n], alpha)
    rows, labels = make_deck(draw, True)
    other = make_deck(draw, False)[0]
    return Asked(below(rows[labels], at), below(other, at), below(rows[labels], broken_at))


def as_photo(draw: np.random.Generator, row: np.ndarray, present: bool) -> tuple[PhotoVectors, tuple]:
    """Return the row as a photo: its unit vector, and cells that carry the row's strength at one place."""
    whole = (row / np.linalg.norm(row)).astype(np.float32)
    cells = draw.normal(0, 1, (*GRID, CELL_DIM))
    y, x = int(draw.integers(GRID[0] - 1)), int(draw.integers(GRID[1] - 1))
    if present:
        cells[y : y + 2, x : x + 2, 0] += row[0]
    steps = np.clip(np.round((cells + 8) * 16), 0, 255).astype(np.uint8)
    scale, offset = np.full(CELL_DIM, 1 / 16, np.float32), np.full(CELL_DIM, -8, np.float32)
    box = (x / GRID[1], y / GRID[0], 2 / GRID[1], 2 / GRID[0])
    return PhotoVectors(whole, steps, scale, offset, "drawn"), (box,) if present else ()


def by_trainer(draw: np.random.Generator, alpha: float, n: int) -> Asked:
    """One drawn library through the trainer and the presorter."""
    decks = [make_deck(draw, place < n) for place in range(2 * n)]
    asked = [make_deck(draw, True), make_deck(draw, False)]
    photos, labels, vectors, truth = [], [], {}, []
    for number, (rows, present) in enumerate([*decks, *asked]):
        for place in range(PHOTOS):
            sha = f"{number:04x}{place:04x}".ljust(64, "0")
            vectors[sha], box = as_photo(draw, rows[place], bool(present[place]))
            if number < 2 * n:
                photos.append((sha, f"deck-{number:03d}"))
                value = "present" if present[place] else "absent"
                labels.append(TrainingLabel(sha, TAG, value, box, asked_by="deck"))
            else:
                truth.append((sha, bool(present[place]), number == 2 * n))
    model = train_tags(photos, labels, vectors.__getitem__, tags=[TAG], promise_rate=alpha)[TAG]
    assert isinstance(model, TagModel)
    missed_of = [sha for sha, present, first in truth if present and first]
    spared_of = [sha for sha, _, first in truth if not first]
    broken = with_threshold(model, broken_threshold(model, vectors, photos, labels, n))
    return Asked(
        unlikely(model, missed_of, vectors.__getitem__),
        unlikely(model, spared_of, vectors.__getitem__),
        unlikely(broken, missed_of, vectors.__getitem__),
    )


def broken_threshold(
    model: TagModel,
    vectors: dict[str, PhotoVectors],
    photos: list[tuple[str, str]],
    labels: list[TrainingLabel],
    without: int,
) -> float | None:
    """The threshold with decks without the defect counted, from each model's scores of the deck left out."""
    from triage.train.scoring import blended

    assert model.leave_one_out is not None
    deck_of = dict(photos)
    left_out, scores = model.leave_one_out, {}
    for label in labels:
        if label.value == "present":
            found = blended(left_out.whole, left_out.cells, left_out.blend, vectors[label.photo])
            scores.setdefault(deck_of[label.photo], []).append(found)
    order = model.facts["guard_decks"]
    left_out = [np.array([found[k] for found in scores[deck]]) for k, deck in enumerate(order)]
    assert threshold(left_out, model.promise.miss_rate) is not None
    return threshold([*left_out, *[np.array([np.inf])] * without], model.promise.miss_rate)


def with_threshold(model: TagModel, at: float | None) -> TagModel:
    """The model under another threshold."""
    return replace(model, promise=replace(model.promise, threshold=at))


def unlikely(model: TagModel, shas: Sequence[str], vectors_of: Callable[[str], PhotoVectors]) -> float:
    """Share of some photos that are put in `unlikely`."""
    said = suggest({model.tag: model}, list(shas), vectors_of)
    return float(np.mean([one.pile == "unlikely" for one in said]))


def verdict(alpha: float, n: int, broken: np.ndarray) -> str:
    """Whether misses tell the broken variant from the sound one, and why where they do not."""
    mean, spread = float(broken.mean()), float(broken.std(ddof=1))
    error = spread / np.sqrt(len(broken))
    allowed = (alpha * (2 * n + 1) - 1) / n
    if mean > alpha + 3 * error:
        return "caught"
    if mean <= alpha:
        return (
            f"not caught: its criterion allows a mean loss of {allowed:.3f}, the largest of {n} scores "
            f"makes that {mean:.3f}, within the promise"
        )
    draws = (3 * spread / (mean - alpha)) ** 2
    return f"not caught: it would take about {draws:,.0f} draws"


def drawn_row(alpha: float, n: int, found: Sequence[Asked]) -> str:
    """One line of the table over draws."""
    missed, spared, broken = np.array([(one.missed, one.spared, one.broken) for one in found]).T
    error, broken_error = (float(part.std(ddof=1) / np.sqrt(len(found))) for part in (missed, broken))
    kept = "kept" if missed.mean() <= alpha + 3 * error else "BROKEN"
    return (
        f"| {alpha:.0%} | {n} | {len(found)} | {missed.mean():.3f} ± {error:.3f} ({kept}) "
        f"| {spared.mean():.2f} | {broken.mean():.3f} ± {broken_error:.3f} | {verdict(alpha, n, broken)} |"
    )


def drawn_table(name: str, one: Callable[..., Asked], draws: Callable[[int], int]) -> None:
    """Print the table over drawn libraries."""
    print(f"\n{name}\n")
    heads = ("promised", "decks", "draws", "mean missed", "negatives spared", "broken variant", "it is")
    print(f"| {' | '.join(heads)} |\n|{' --- |' * len(heads)}")
    for alpha, n in SETTINGS:
        draw = np.random.default_rng(int(alpha * 1000) + n)
        print(drawn_row(alpha, n, [one(draw, alpha, n) for _ in range(draws(n))]), flush=True)


def real_row(found: Set, tag: str, alpha: float, splits: int) -> str | None:
    """One line for a tag of a real set, or None where no half of the decks has enough with the tag."""
    missed: dict[str, list[float]] = {}
    spared: dict[str, list[float]] = {}
    eligible = []
    for seed in range(splits):
        train, test = found.halves(tag, seed)
        labels = [found.labels[tag][sha] for sha in train]
        photos = [(sha, found.decks[sha]) for sha in train]
        model = train_tags(photos, labels, found.vectors.__getitem__, tags=[tag], promise_rate=alpha)[tag]
        if not isinstance(model, TagModel) or not model.promise.holds:
            continue
        eligible.append(model.promise.eligible_positive_decks)
        said = suggest({tag: model}, test, found.vectors.__getitem__)
        for one in said:
            side = missed if found.labels[tag][one.photo].value == "present" else spared
            side.setdefault(f"{seed} {found.decks[one.photo]}", []).append(float(one.pile == "unlikely"))
    if not eligible:
        return None
    cells = [f"{mean:.3f} ± {error:.3f}" for mean, error in (over_decks(missed), over_decks(spared))]
    return (
        f"| {found.name} | {tag} | {alpha:.0%} | {min(eligible)} to {max(eligible)} | {len(eligible)} "
        f"| {cells[0]} | {cells[1]} |"
    )


def over_decks(shares: dict[str, list[float]]) -> tuple[float, float]:
    """Mean over decks of each deck's mean over splits, and its error by bootstrap over decks."""
    by_deck: dict[str, list[float]] = {}
    for key, values in shares.items():
        by_deck.setdefault(key.split(" ", 1)[1], []).append(float(np.mean(values)))
    means = np.array([np.mean(values) for values in by_deck.values()])
    drawn = np.random.default_rng(0).integers(len(means), size=(2000, len(means)))
    return float(means.mean()), float(means[drawn].mean(axis=1).std(ddof=1))


def real_table(splits: int, sets: Sequence[str], *, original: bool = False) -> None:
    """Print the table over sets; `original` takes the network before it was adapted."""
    from tools.bench.arrays import load_set

    heads = ("set", "tag", "promised", "eligible decks", "splits", "mean missed", "negatives spared")
    print(
        f"\nReal sets, halves by deck, {splits} splits\n\n| {' | '.join(heads)} |\n|{' --- |' * len(heads)}"
    )
    recipe = make_recipe("efficientnet-lite0.onnx", "cell-projection.npz") if original else None
    for name in sets:
        found = load_set(name, recipe)
        for tag in sorted(found.labels):
            positive = {found.decks[s] for s, one in found.labels[tag].items() if one.value == "present"}
            for alpha in (0.10, 0.05, 0.02):
                if len(positive) < 1.6 * decks_needed(alpha):
                    continue
                row = real_row(found, tag, alpha, splits)
                if row is not None:
                    print(row, flush=True)


def main() -> None:
    """Print the tables that were asked for, or all."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("tables", nargs="*", help="ridge, trainer, real; all of them where none is named")
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--trained", type=int, default=200)
    parser.add_argument("--splits", type=int, default=10)
    parser.add_argument("--sets", nargs="+", default=REAL, help="of the table real; also demo, seasons")
    parser.add_argument("--original", action="store_true", help="the network before it was adapted")
    parser.add_argument("--out", type=Path, help="write the tables into this file too, row by row")
    options = parser.parse_args()
    if options.out:
        with options.out.open("w", encoding="utf-8") as file, redirect_stdout(_Both(sys.stdout, file)):
            _print(options)
    else:
        _print(options)


class _Both(io.TextIOBase):
    """Writes to two files."""

    def __init__(self, *files: TextIO) -> None:
        self.files = files

    def write(self, text: str) -> int:
        for one in self.files:
            one.write(text)
            one.flush()
        return len(text)


def _print(options: argparse.Namespace) -> None:
    tables = options.tables or ["ridge", "trainer", "real"]
    if "ridge" in tables:
        drawn_table("Ridge classifier on drawn libraries", by_ridge, lambda n: options.draws)
    if "trainer" in tables:
        half = max(2, options.trained // 2)
        drawn_table(
            "The trainer on drawn libraries", by_trainer, lambda n: options.trained if n < 40 else half
        )
    if "real" in tables:
        real_table(options.splits, options.sets, original=options.original)


if __name__ == "__main__":
    main()
