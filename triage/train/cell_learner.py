"""The learner on cells: balanced logistic regression inside boxes where there are some, else by bags.

A photo counts as much as a photo with the tag as people saw it there, y, and as one without it for the rest
(y is 1/2 for `unclear`), each part times the photo's weight, which is less for unclear and disputed photos:

- with it: the cells in its boxes and points, or, where it has none, the six cells that the present model
  likes best, chosen in turns with fitting;
- without it: cells all over the photo; where it has boxes, the cells in them, and the cells away from them
  count as empty in full, but not those of an `unclear` photo, whose other places nobody spoke of.

Of each class of cells every photo weighs the same, however large its boxes. Like the learner on whole photos
this is symmetric in its decks.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from triage.train.bags import Bags
from triage.train.cells import HIGHEST, NEGATIVES_A_PHOTO, Shelf, cell_rows, inside, near, ranked_cells
from triage.train.linear import Primal, balanced, fit_primal

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.fitting import Chooser
    from triage.train.table import TagTable
    from triage.train.types import Floats, Floats32

    Mask = NDArray[np.bool_]

CELL_C = 10.0
"""Strength on cells of mean length 1 (10 to 30 are best on sawn boards, 1 and 100 lose .01 to .06)."""
BAG_C = 1.0
BAG_TURNS = 3
SCORE_C = 10.0
"""Strength on the photos' own scores: .817 average precision at 40 dead knots without boxes, .73 at 100."""
SCORE_TURNS = 6
MOST_CELLS = 12_000
"""Negative cells in all; with many photos each gives fewer, at least `LEAST_A_PHOTO`."""
LEAST_A_PHOTO = 8
TOLERANCE = 1e-3


class CellLearner:
    """Cells of one tag's photos, fitted on any part of the photos that was named at the start.

    Parameters
    ----------
    uses : the masks (n,) that `fit` will be asked for; only what they need is read.
    """

    def __init__(
        self, table: TagTable, shelf: Shelf, chooser: Chooser, uses: Sequence[Mask], seed: int
    ) -> None:
        self.table, self.chooser = table, chooser
        chosen = [chooser.choose(use) for use in uses]
        bags = {place for use in uses for place in [*chooser.bags(use), *chooser.empty_bags(use)]}
        self.bags = Bags(table.shas, sorted(bags), shelf)
        most = max((_cells_a_photo(kept & table.firm) for kept in chosen), default=0)
        self._read(np.logical_or.reduce(chosen), most, shelf, seed)
        unboxed = np.array([not boxes for boxes in table.boxes], bool)
        self._mixed = (table.targets > 0) & (table.targets < 1) & unboxed
        self._begun: Floats | None = None

    def _read(self, wanted: Mask, most: int, shelf: Shelf, seed: int) -> None:
        """Write the rows that the photos give, and leave room for the bags' stand-ins."""
        table = self.table
        width = 2 * int(shelf(table.shas[0]).cells.shape[2])
        rows: list[Floats32] = [np.zeros((0, width), np.float32)]
        facts = [np.zeros((0, 4))]
        for place in np.flatnonzero(wanted):
            share, boxes = float(table.targets[place]), table.boxes[place]
            if share == 1.0 and not boxes:
                continue
            vectors = shelf(table.shas[place])
            where, boxes = vectors.cell_boxes(), boxes if share > 0 else ()
            here = np.flatnonzero(inside(boxes, where))
            nothing_said = bool(boxes) and not table.firm[place]
            away = ranked_cells(table.shas[place], ~near(boxes, where), 0 if nothing_said else most, seed)
            doubted = here if share < 1 else here[:0]
            parts = (here, 1.0, share), (doubted, 0.0, 1 - share), (away, 0.0, 1.0 if boxes else 1 - share)
            rows.append(cell_rows(vectors, np.concatenate([cells for cells, _, _ in parts])))
            for cells, target, weight in parts:
                rank = np.arange(len(cells)) * (cells is away)
                told = [np.full(len(cells), one) for one in (place, target, weight)]
                facts.append(np.stack([*told, rank], axis=1))
        photo, self.targets, share_of, rank = np.concatenate(facts).T
        self.photo, self.rank = photo.astype(np.intp), rank.astype(np.intp)
        self.weights = share_of * table.weights[self.photo]
        self.first_bag = len(photo)
        room = len(self.bags.places) * max(HIGHEST, NEGATIVES_A_PHOTO)
        wide = np.zeros((self.first_bag + room, width + 1), np.float32)
        np.concatenate(rows, out=wide[: self.first_bag, :-1])
        wide[:, -1] = 1.0
        self.lengths = np.einsum("ij,ij->i", wide[:, :-1], wide[:, :-1])
        self._wide, self._primal = wide, Primal()

    def fit(self, use: Mask) -> tuple[Floats32, float] | None:
        """Weights (2 C,) and bias from the photos under the mask; None where they hold one class of cells."""
        kept = self.chooser.choose(use)
        most = _cells_a_photo(kept & self.table.firm)
        bags = [place for place in self.chooser.bags(use) if self.bags.count(place)]
        kept &= ~self._mixed
        kept[bags] |= self._mixed[bags]
        here = kept[self.photo] & (self.rank < most)
        in_boxes = bool(np.any(here & (self.targets > 0)))
        if not np.any(here & (self.targets == 0)) or not (in_boxes or bags):
            return None
        beta = self._begun
        if in_boxes:
            beta = self._fit(here, [], CELL_C, self._begun)
            if self._begun is None:
                self._begun = beta
        before = None
        for turn in range(BAG_TURNS if bags else 0):
            stand_ins = self._stand_ins(bags, beta if in_boxes or turn else None)
            rows = np.concatenate([one for _, one in stand_ins])
            if before is not None and np.array_equal(rows, before):
                break  # the same cells again: so would be the fit
            beta, before = self._fit(here, stand_ins, CELL_C if in_boxes else BAG_C, beta), rows
        assert beta is not None  # noqa: S101 - there were cells in boxes or bags
        empty = [place for place in self.chooser.empty_bags(use) if self.bags.count(place)]
        if bags and empty:
            beta = self._fit_photo_scores([*bags, *empty], beta)
        return beta[:-1].astype(np.float32), float(beta[-1])

    def _stand_ins(self, bags: list[int], beta: Floats | None) -> list[tuple[int, Floats32]]:
        """(place, rows) of the cells that stand for each bag: its highest, at first some all over it."""
        if beta is None:
            return [(place, self.bags.spread(place, NEGATIVES_A_PHOTO)) for place in bags]
        return list(zip(bags, self.bags.highest(bags, beta[:-1]), strict=True))

    def _fit(
        self, here: Mask, stand_ins: list[tuple[int, Floats32]], strength: float, start: Floats | None
    ) -> Floats:
        """Fit the rows under the mask and the stand-ins (d + 1,)."""
        end = self.first_bag
        extra = sum(len(rows) for _, rows in stand_ins)
        photo, used = np.pad(self.photo, (0, extra)), np.pad(here, (0, extra), constant_values=True)
        targets = np.pad(self.targets, (0, extra), constant_values=1.0)
        weights, wide = np.pad(self.weights, (0, extra)), self._wide[: end + extra]
        for place, rows in stand_ins:
            part = slice(end, end + len(rows))
            wide[part, :-1] = rows
            self.lengths[part] = np.einsum("ij,ij->i", rows, rows)
            photo[part], weights[part] = place, self.table.weights[place] * self.table.targets[place]
            end += len(rows)
        key = (photo * 2 + targets.astype(np.intp))[used]
        each = weights[used] / np.bincount(key)[key]
        strengths = np.zeros(len(wide))
        strengths[used] = balanced(targets[used], each * (len(each) / each.sum()))
        scale = float(self.lengths[:end][used].mean()) or 1.0
        return self._primal.fit(wide, targets, strengths, strength, start, TOLERANCE, ridge=scale)

    def _fit_photo_scores(self, places: list[int], beta: Floats) -> Floats:
        """Fit the photo's score itself: the means of the six highest cells of bags and empty bags, in turns.

        Each turn goes half of the way to the new direction, so that the highest cells settle.
        """
        targets = self.table.targets[places]
        weights = balanced(targets, self.table.weights[places])
        direction, found, bias = beta[:-1] / np.linalg.norm(beta[:-1]), beta[:-1], float(beta[-1])
        for _ in range(SCORE_TURNS):
            means = np.stack([rows.mean(axis=0) for rows in self.bags.highest(places, direction)])
            scale = float(np.sqrt(np.mean(np.einsum("ij,ij->i", means, means)))) or 1.0
            found, bias = fit_primal(
                np.asarray(means / scale, float), targets, weights, SCORE_C, tolerance=TOLERANCE
            )
            found = found / scale
            direction = direction / 2 + found / (2 * np.linalg.norm(found))
            direction /= np.linalg.norm(direction)
        return np.append(direction * np.linalg.norm(found), bias)


def _cells_a_photo(kept: Mask) -> int:
    """Negative cells that each photo gives when the photos under the mask are trained on."""
    return min(NEGATIVES_A_PHOTO, max(LEAST_A_PHOTO, MOST_CELLS // max(1, int(kept.sum()))))
