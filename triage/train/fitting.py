"""The two linear learners of one tag, each of which can be fitted on any part of the photos.

`WholeLearner` reads whole-photo vectors through their inner products; `CellLearner` reads cells. Both are
symmetric: what they learn from some decks hangs on those decks alone, draws and limits included, never on the
order or on what was left out. The promise rests on that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from triage.train.cells import HIGHEST, NEGATIVES_A_PHOTO, Shelf, inside, near, ranked_cells
from triage.train.linear import balanced, fit_dual, fit_primal, prior_shift
from triage.train.table import TagTable, draw

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Floats, Floats32

    Mask = NDArray[np.bool_]

WHOLE_C = 100.0
"""Strength of the whole-photo logistic regression on unit-length blocks: best at 5 to 50 positives."""
RIDGE = 0.1
"""Penalty of the least-squares form of it (average precision within .01 on sawn boards, .03 to .3 alike)."""
CELL_C = 10.0
"""Strength on cells of mean length 1 (10 to 30 are best on sawn boards, 1 and 100 lose .01 to .06)."""
MOST_POSITIVES = 400
MOST_NEGATIVES = 700
NEGATIVES_A_POSITIVE = 10
LEAST_NEGATIVES = 200
BAG_C = 1.0
BAG_TURNS = 3
MOST_BAGS = 80
SCORE_C = 10.0
"""Strength on the photos' own scores: .817 average precision at 40 dead knots without boxes, .73 at 100."""
SCORE_TURNS = 6
MOST_EMPTY_BAGS = 120
MOST_CELLS = 12_000
"""Negative cells in all; with many photos each gives fewer, at least `LEAST_A_PHOTO`."""
LEAST_A_PHOTO = 8


class Chooser:
    """Which photos are trained on: all, or a draw by their hashes where there are very many.

    Ten negatives a positive are no better than three, so the negatives beyond ten a positive (and 200) rest.
    """

    def __init__(self, table: TagTable, seed: int) -> None:
        self.table = table
        self.order = np.argsort([draw(seed, "rows", sha) for sha in table.shas])

    def choose(self, use: Mask) -> Mask:
        """The photos under the mask that are trained on, (n,)."""
        table, kept = self.table, use.copy()
        present = int(np.sum(table.present & use))
        limits = (
            (table.present, MOST_POSITIVES),
            (table.absent, min(MOST_NEGATIVES, max(LEAST_NEGATIVES, NEGATIVES_A_POSITIVE * present))),
            (table.unclear, MOST_POSITIVES // 2),
        )
        for side, limit in limits:
            kept[self.order[(side & use)[self.order]][limit:]] = False
        return kept

    def bags(self, use: Mask) -> list[int]:
        """Positive photos under the mask without boxes that take part as bags."""
        places = self.order[(self.table.present & use)[self.order]]
        return [int(place) for place in places if not self.table.boxes[place]][:MOST_BAGS]

    def empty_bags(self, use: Mask) -> list[int]:
        """Negative photos that stand against the bags, where no positive photo under the mask has a box."""
        if any(self.table.boxes[place] for place in np.flatnonzero(self.table.present & use)):
            return []
        return [int(place) for place in self.order[(self.table.absent & use)[self.order]]][:MOST_EMPTY_BAGS]


class WholeLearner:
    """Whole vectors: logistic regression, and for the guards its least-squares form."""

    def __init__(self, table: TagTable, rows: Floats32, gram: Floats32, chooser: Chooser) -> None:
        self.table, self.rows, self.chooser = table, rows, chooser
        self._gram = gram
        self._start: tuple[Floats, float] | None = None

    def fit(self, use: Mask) -> tuple[Floats32, float]:
        """Weights (D,) and bias of the balanced logistic fit; scores carry the labels' prior."""
        places = np.flatnonzero(self.chooser.choose(use))
        targets, weights = self.table.targets[places], self.table.weights[places]
        start = None if self._start is None else (self._start[0][places], self._start[1])
        gram = self._gram[np.ix_(places, places)].astype(np.float64)
        duals, bias = fit_dual(gram, targets, balanced(targets, weights), WHOLE_C, start, tolerance=1e-4)
        if self._start is None:
            full = np.zeros(len(self.table.shas))
            full[places] = duals
            self._start = (full, bias)
        shift = prior_shift(self.table.targets[use], self.table.weights[use])
        return (duals.astype(np.float32) @ self.rows[places]).astype(np.float32), bias + shift

    def guards(self, uses: Sequence[Mask]) -> list[tuple[Floats32, float]]:
        """Weights and bias of the ridge fit to targets -1 and 1, one per mask.

        One inverse serves all: with B the inverse of the penalised inner products, leaving rows d out is
        ``B_rr - B_rd inv(B_dd) B_dr``, exactly the fit on the rest.
        """
        chosen = [self.chooser.choose(use) for use in uses]
        places = np.flatnonzero(np.logical_or.reduce(chosen))
        system = self._gram[np.ix_(places, places)].astype(np.float64)
        system[np.diag_indices_from(system)] += RIDGE / self.table.weights[places]
        inverse = cho_solve(cho_factor(system, check_finite=False), np.eye(len(places)), check_finite=False)
        sides = np.column_stack([2 * self.table.targets[places] - 1, np.ones(len(places))])
        solved = inverse @ sides
        found = []
        for keep in chosen:
            out = np.flatnonzero(~keep[places])
            rest = np.flatnonzero(keep[places])
            part = solved - inverse[:, out] @ sides[out]
            part = part[rest] - inverse[np.ix_(rest, out)] @ np.linalg.solve(
                inverse[np.ix_(out, out)], part[out]
            )
            bias = float(part[:, 0].sum() / part[:, 1].sum())
            duals = (part[:, 0] - bias * part[:, 1]).astype(np.float32)
            found.append(((duals @ self.rows[places[rest]]).astype(np.float32), bias))
        return found


class CellLearner:
    """Balanced logistic regression on cells: inside boxes where there are some, else by bags.

    Of each class every photo weighs the same, however large its boxes.
    """

    def __init__(
        self, table: TagTable, shelf: Shelf, chooser: Chooser, uses: Sequence[Mask], seed: int
    ) -> None:
        self.table, self.chooser = table, chooser
        wanted = np.logical_or.reduce([chooser.choose(use) for use in uses]) & table.firm
        open_ = {place for use in uses for place in [*chooser.bags(use), *chooser.empty_bags(use)]}
        self.bags = {place: shelf(table.shas[place]).cells_float() for place in sorted(open_)}
        rows: list[Floats32] = [np.zeros((0, self._width(shelf)), np.float32)]
        photo, target, rank = [np.zeros(0, np.intp)], [np.zeros(0)], [np.zeros(0, np.intp)]
        for place in np.flatnonzero(wanted):
            if table.present[place] and not table.boxes[place]:
                continue
            vectors = shelf(table.shas[place])
            cells, where = vectors.cells_float(), vectors.cell_boxes()
            boxes = table.boxes[place] if table.present[place] else ()
            here = np.flatnonzero(inside(boxes, where))
            away = ranked_cells(table.shas[place], ~near(boxes, where), NEGATIVES_A_PHOTO, seed)
            rows += [cells[here], cells[away]]
            photo.append(np.full(len(here) + len(away), place))
            target.append(np.repeat([1.0, 0.0], [len(here), len(away)]))
            rank.append(np.append(np.zeros(len(here), np.intp), np.arange(len(away))))
        self.rows, self.photo = np.concatenate(rows), np.concatenate(photo)
        self.targets, self.rank = np.concatenate(target), np.concatenate(rank)
        self._begun: tuple[Floats, float] | None = None

    def _width(self, shelf: Shelf) -> int:
        return int(shelf(self.table.shas[0]).cells.shape[2])

    def fit(self, use: Mask) -> tuple[Floats32, float] | None:
        """Weights (C,) and bias from the photos under the mask; None where they hold one class of cells."""
        kept = self.chooser.choose(use)
        most = min(NEGATIVES_A_PHOTO, max(LEAST_A_PHOTO, MOST_CELLS // max(1, int(kept.sum()))))
        here = kept[self.photo] & (self.rank < most)
        rows, targets, photo = self.rows[here], self.targets[here], self.photo[here]
        bags = [place for place in self.chooser.bags(use) if len(self.bags[place])]
        if not np.any(targets == 0) or not (bags or np.any(targets == 1)):
            return None
        beta = self._fit(rows, targets, photo, CELL_C, self._begun) if np.any(targets == 1) else None
        strength = BAG_C if beta is None else CELL_C
        for _ in range(BAG_TURNS if bags else 0):
            chosen = [self._stand_ins(place, beta) for place in bags]
            sizes = [len(c) for c in chosen]
            beta = self._fit(
                np.concatenate([rows, *chosen]),
                np.append(targets, np.ones(sum(sizes))),
                np.append(photo, np.repeat(bags, sizes)),
                strength,
                beta,
            )
        if beta is None:
            return None
        if self._begun is None and not bags:
            self._begun = beta
        empty = [place for place in self.chooser.empty_bags(use) if len(self.bags[place])]
        if bags and empty:
            beta = self._fit_photo_scores(bags, empty, beta)
        return beta[0].astype(np.float32), beta[1]

    def _fit_photo_scores(
        self, bags: list[int], empty: list[int], beta: tuple[Floats, float]
    ) -> tuple[Floats, float]:
        """Fit the photo's score itself: the means of the six highest cells of bags and empty bags, in turns.

        Each turn goes half of the way to the new direction, so that the highest cells settle.
        """
        places = [*bags, *empty]
        targets = np.repeat([1.0, 0.0], [len(bags), len(empty)])
        weights = balanced(targets, self.table.weights[places])
        direction, bias = beta[0] / np.linalg.norm(beta[0]), beta[1]
        for _ in range(SCORE_TURNS):
            means = np.stack([self._highest(place, direction).mean(axis=0) for place in places])
            scale = float(np.sqrt(np.mean(np.einsum("ij,ij->i", means, means)))) or 1.0
            found, bias = fit_primal(
                np.asarray(means / scale, float), targets, weights, SCORE_C, tolerance=1e-3
            )
            found = found / scale
            direction = direction / 2 + found / (2 * np.linalg.norm(found))
            direction /= np.linalg.norm(direction)
        length = float(np.linalg.norm(found))
        return direction * length, bias

    def _highest(self, place: int, direction: Floats) -> Floats32:
        cells = self.bags[place]
        if len(cells) <= HIGHEST:
            return cells
        scores = cells @ direction.astype(np.float32)
        return cells[np.argpartition(scores, len(cells) - HIGHEST)[len(cells) - HIGHEST :]]

    def _stand_ins(self, place: int, beta: tuple[Floats, float] | None) -> Floats32:
        if beta is None:
            return self.bags[place][:: max(1, len(self.bags[place]) // NEGATIVES_A_PHOTO)]
        return self._highest(place, beta[0])

    def _fit(
        self,
        rows: Floats32,
        targets: Floats,
        photo: NDArray[np.intp],
        strength: float,
        start: tuple[Floats, float] | None,
    ) -> tuple[Floats, float]:
        weights = self.table.weights[photo] / _cells_a_photo(targets, photo)
        weights *= len(weights) / weights.sum()
        scale = float(np.sqrt(np.mean(np.einsum("ij,ij->i", rows, rows)))) or 1.0
        begin = None if start is None else (start[0] * scale, start[1])
        rows = rows / np.float32(scale)
        beta, bias = fit_primal(rows, targets, balanced(targets, weights), strength, begin, tolerance=1e-3)
        return beta / scale, bias


def _cells_a_photo(targets: Floats, photo: NDArray[np.intp]) -> Floats:
    """How many rows of the same class each row's photo gives, (n,)."""
    key = photo * 2 + targets.astype(np.intp)
    return np.asarray(np.bincount(key)[key], float)
