"""The learner on whole-photo vectors, and which photos are trained on.

It can be fitted on any part of the photos and reads them through their inner products. Like the learner on
cells it is symmetric: what it learns from some decks hangs on those decks alone, draws and limits included,
never on the order or on what was left out. The promise rests on that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from triage.train.linear import balanced, fit_dual, prior_shift
from triage.train.table import TagTable, draw

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Floats, Floats32

    Mask = NDArray[np.bool_]

WHOLE_C = 100.0
"""Strength of the whole-photo logistic regression on unit-length blocks: best at 5 to 50 positives."""
RIDGE = 0.1
"""Penalty of the least-squares form of it (average precision within .01 on sawn boards, .03 to .3 alike)."""
MOST_POSITIVES = 400
MOST_NEGATIVES = 700
NEGATIVES_A_POSITIVE = 10
LEAST_NEGATIVES = 200
MOST_BAGS = 80
MOST_DOUBTFUL_BAGS = 20
MOST_EMPTY_BAGS = 120


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
        """Photos under the mask without boxes that show the tag, or may show it, and take part as bags.

        Few of those that may (answered `unclear`, or `absent` by most and `present` by some) are enough.
        """
        table = self.table
        limits = (
            (table.present, MOST_BAGS),
            (~table.present & (table.targets > 0), MOST_DOUBTFUL_BAGS),
        )
        found: list[int] = []
        for side, limit in limits:
            places = self.order[(side & use)[self.order]]
            found += [int(place) for place in places if not table.boxes[place]][:limit]
        return found

    def empty_bags(self, use: Mask) -> list[int]:
        """Negative photos that stand against the bags, where no positive photo under the mask has a box."""
        if any(self.table.boxes[place] for place in np.flatnonzero(self.table.present & use)):
            return []
        nothing = self.table.firm & (self.table.targets == 0)
        return [int(place) for place in self.order[(nothing & use)[self.order]]][:MOST_EMPTY_BAGS]


class WholeLearner:
    """Whole vectors: logistic regression, and for the leave-one-out models its least-squares form."""

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

    def fit_each_without(self, uses: Sequence[Mask]) -> list[tuple[Floats32, float]]:
        """Weights and bias of the ridge fit to targets -1 and 1, one per mask.

        One inverse serves all: with B the inverse of the penalized inner products, leaving rows d out is
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
