"""The two linear learners of one tag, each of which can be fitted on any part of the decks.

`WholeLearner` reads whole-photo vectors through their inner products; `CellLearner` reads cells. Both are
symmetric: what they learn from a set of decks hangs on that set alone, never on the order or on what was
left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from triage.train.cells import HIGHEST, NEGATIVES_A_PHOTO, Shelf, inside, near, some_cells
from triage.train.linear import balanced, fit_dual, fit_primal, prior_shift
from triage.train.table import TagTable, draw

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Floats, Floats32

    Mask = NDArray[np.bool_]

WHOLE_C = 100.0
"""Strength of the whole-photo logistic regression on unit-length blocks (measured best at 5 to 50
positives)."""
CELL_C = 1.0
MOST_POSITIVES = 600
MOST_NEGATIVES = 1000
NEGATIVES_A_POSITIVE = 10
LEAST_NEGATIVES = 200
MIL_TURNS = 3
MOST_BAGS = 200
MOST_CELLS = 12_000
"""Negative cells in all; with many photos each gives fewer, at least `LEAST_A_PHOTO`."""
LEAST_A_PHOTO = 8


def rows_to_train(table: TagTable, seed: int) -> Mask:
    """(n,) which photos are trained on: all, or a draw by their hashes where there are very many.

    Ten negatives a positive are no better than three, so the negatives beyond ten a positive (and 200) rest.
    """
    order = np.argsort([draw(seed, "rows", sha) for sha in table.shas])
    kept = np.ones(len(table.shas), bool)
    present = int(table.present.sum())
    limits = (
        (table.present, MOST_POSITIVES),
        (table.absent, min(MOST_NEGATIVES, max(LEAST_NEGATIVES, NEGATIVES_A_POSITIVE * present))),
        (table.unclear, MOST_POSITIVES // 2),
    )
    for side, limit in limits:
        kept[order[side[order]][limit:]] = False
    return kept


class WholeLearner:
    """Balanced logistic regression on whole vectors; scores carry the labels' prior."""

    def __init__(self, table: TagTable, rows: Floats32, gram: Floats, kept: Mask) -> None:
        self.table, self.rows, self.gram, self.kept = table, rows, gram, kept
        self._start: tuple[Floats, float] | None = None

    def fit(self, use: Mask) -> tuple[Floats32, float]:
        """Weights (D,) and bias from the photos under the mask."""
        places = np.flatnonzero(use & self.kept)
        targets, weights = self.table.targets[places], self.table.weights[places]
        start = None if self._start is None else (self._start[0][places], self._start[1])
        gram = self.gram[np.ix_(places, places)]
        duals, bias = fit_dual(gram, targets, balanced(targets, weights), WHOLE_C, start)
        if self._start is None:
            full = np.zeros(len(self.table.shas))
            full[places] = duals
            self._start = (full, bias)
        shift = prior_shift(self.table.targets[use], self.table.weights[use])
        return (duals.astype(np.float32) @ self.rows[places]).astype(np.float32), bias + shift


class CellLearner:
    """Balanced logistic regression on cells: inside boxes where there are some, else by bags."""

    def __init__(self, table: TagTable, shelf: Shelf, kept: Mask, seed: int) -> None:
        self.table = table
        rows: list[Floats32] = []
        photo: list[NDArray[np.intp]] = []
        target: list[Floats] = []
        self.bags: dict[int, Floats32] = {}
        bags = self._open_bags(kept, seed)
        firm = int(np.sum(kept & table.firm))
        most = min(NEGATIVES_A_PHOTO, max(LEAST_A_PHOTO, MOST_CELLS // max(1, firm)))
        for place in np.flatnonzero(kept & table.firm):
            vectors = shelf(table.shas[place])
            cells = vectors.cells_float()
            if len(cells) == 0:
                continue
            if table.present[place] and not table.boxes[place]:
                if place in bags:
                    self.bags[int(place)] = cells
                continue
            boxes = table.boxes[place] if table.present[place] else ()
            away = some_cells(table.shas[place], ~near(boxes, vectors.cell_boxes()), most, seed)
            here = np.flatnonzero(inside(boxes, vectors.cell_boxes()))
            rows += [cells[here], cells[away]]
            photo.append(np.full(len(here) + len(away), place))
            target.append(np.repeat([1.0, 0.0], [len(here), len(away)]))
        self.rows = np.concatenate(rows) if rows else np.zeros((0, 0), np.float32)
        self.photo = np.concatenate(photo) if photo else np.zeros(0, np.intp)
        self.targets = np.concatenate(target) if target else np.zeros(0)
        self.weights = table.weights[self.photo]
        self._start: tuple[Floats, float] | None = None
        self._starts: dict[int, tuple[Floats, float]] = {}

    def _open_bags(self, kept: Mask, seed: int) -> set[int]:
        """Positive photos without boxes that take part as bags."""
        open_ = [int(p) for p in np.flatnonzero(kept & self.table.present) if not self.table.boxes[p]]
        return set(sorted(open_, key=lambda p: draw(seed, "bags", self.table.shas[p]))[:MOST_BAGS])

    def fit(self, use: Mask) -> tuple[Floats32, float] | None:
        """Weights (C,) and bias from the photos under the mask; None where they hold one class of cells."""
        here = use[self.photo] if len(self.photo) else np.zeros(0, bool)
        rows, targets, weights = self.rows[here], self.targets[here], self.weights[here]
        bags = [place for place in self.bags if use[place]]
        if not np.any(targets == 0) or not (bags or np.any(targets == 1)):
            return None
        beta = _fit_cells(rows, targets, weights, self._start) if np.any(targets == 1) else None
        for turn in range(MIL_TURNS if bags else 0):
            chosen = [self._stand_ins(place, beta) for place in bags]
            sizes = [len(c) for c in chosen]
            beta = _fit_cells(
                np.concatenate([rows, *chosen]),
                np.append(targets, np.ones(sum(sizes))),
                np.append(weights, np.repeat(self.table.weights[bags], sizes)),
                self._starts.get(turn, beta if turn else None),
            )
            self._starts.setdefault(turn, beta)  # a fit has one minimum: the start only saves steps
        if beta is None:
            return None
        if self._start is None:
            self._start = beta
        return beta[0].astype(np.float32), beta[1]

    def _stand_ins(self, place: int, beta: tuple[Floats, float] | None) -> Floats32:
        cells = self.bags[place]
        if beta is None or len(cells) <= HIGHEST:
            return cells[:: max(1, len(cells) // NEGATIVES_A_PHOTO)]
        scores = cells @ beta[0].astype(np.float32)
        return cells[np.argpartition(scores, len(cells) - HIGHEST)[len(cells) - HIGHEST :]]


def _fit_cells(
    rows: Floats32, targets: Floats, weights: Floats, start: tuple[Floats, float] | None
) -> tuple[Floats, float]:
    scale = float(np.sqrt(np.mean(np.einsum("ij,ij->i", rows, rows)))) or 1.0
    begin = None if start is None else (start[0] * scale, start[1])
    beta, bias = fit_primal(
        (rows / np.float32(scale)), targets, balanced(targets, weights), CELL_C, begin, tolerance=3e-3
    )
    return beta / scale, bias
