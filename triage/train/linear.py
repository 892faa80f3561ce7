"""Penalised logistic regression by Newton's method: few rows and many numbers, or many rows and few.

Both minimize ``|w|^2 / 2 + C * sum_i s_i * loss(y_i, w.x_i + b)`` with an unpenalized b and targets y in
[0, 1]; for targets 0 and 1 that is scikit-learn's ``LogisticRegression(C=C)`` with sample weights s
(checked in tests). The minimum is unique, so the result depends neither on the start nor on the order of
the rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import expit

if TYPE_CHECKING:
    from triage.train.types import Floats, Floats32

MAX_STEPS = 60
_FLOOR = 1e-4
"""Least curvature of a row's loss that a step assumes, as a share of the row's strength: where all rows are
fitted well the true curvature vanishes, and a step divided by it would diverge."""
_KEEP = 0.6
"""A kept curvature is given up when a step is larger than this share of the step before."""
_HALVED = tuple(0.5**halvings for halvings in range(20))


def balanced(targets: Floats, weights: Floats) -> Floats:
    """Weights (n,) scaled so that present and absent weigh half of the total each.

    A target between 0 and 1 counts to both sides by its share.
    """
    present = float(np.sum(weights * targets))
    absent = float(np.sum(weights * (1 - targets)))
    total = present + absent
    return np.asarray(weights * (targets * total / (2 * present) + (1 - targets) * total / (2 * absent)))


def _losses(scores: Floats, targets: Floats) -> Floats:
    return np.asarray(np.logaddexp(0, scores) - targets * scores)


def fit_dual(
    gram: Floats,
    targets: Floats,
    weights: Floats,
    c: float = 100.0,
    start: tuple[Floats, float] | None = None,
    tolerance: float = 1e-6,
) -> tuple[Floats, float]:
    """Fit with more numbers than rows, through the rows' inner products.

    Parameters
    ----------
    gram : (n, n) inner products of the rows.
    targets, weights : (n,); weights are positive.
    c : strength of the data against the penalty.
    start : duals and bias to begin from.
    tolerance : largest change of a score in the last step.

    Returns
    -------
    duals (n,) and bias; the weights are ``duals @ rows``.
    """
    n = len(targets)
    duals, bias = (np.zeros(n), 0.0) if start is None else (start[0].copy(), start[1])
    scores = gram @ duals + bias
    value = 0.5 * duals @ (scores - bias) + c * (weights @ _losses(scores, targets))
    for _ in range(MAX_STEPS):
        new_duals, new_bias = _dual_step(gram, targets, weights * c, scores)
        step, moved = 1.0, gram @ (new_duals - duals) + (new_bias - bias)
        for _ in range(20):
            trial = duals + step * (new_duals - duals)
            trial_scores = scores + step * moved
            trial_bias = bias + step * (new_bias - bias)
            trial_value = 0.5 * trial @ (trial_scores - trial_bias) + c * (
                weights @ _losses(trial_scores, targets)
            )
            if trial_value <= value + 1e-9 * abs(value):
                break
            step /= 2
        else:
            break  # no step lowers the loss: this is the minimum as far as the numbers reach
        duals, bias, scores, value = trial, trial_bias, trial_scores, trial_value
        if float(np.max(np.abs(moved))) * step < tolerance:
            break
    return duals, float(bias)


def _dual_step(gram: Floats, targets: Floats, strength: Floats, scores: Floats) -> tuple[Floats, float]:
    """One full Newton step of the dual: the weighted ridge fit to the working responses."""
    chance = expit(scores)
    curve = strength * np.maximum(chance * (1 - chance), _FLOOR)
    root = np.sqrt(curve)
    response = scores + strength * (targets - chance) / curve
    system = gram * root[:, None] * root
    system[np.diag_indices_from(system)] += 1.0
    factor = cho_factor(system, lower=True, overwrite_a=True, check_finite=False)
    solved = cho_solve(factor, np.column_stack([root * response, root]), check_finite=False)
    bias = float(root @ solved[:, 0] / (root @ solved[:, 1]))
    return root * (solved[:, 0] - bias * solved[:, 1]), bias


@dataclass(frozen=True, eq=False)
class _Loss:
    """The penalized loss of wide rows (n, d + 1) as a function of the weights (d + 1,)."""

    wide: Floats | Floats32
    targets: Floats
    strength: Floats
    penalty: Floats

    def scores(self, beta: Floats) -> Floats:
        return np.asarray(self.wide @ beta.astype(self.wide.dtype), np.float64)

    def value(self, beta: Floats, scores: Floats) -> float:
        return float(0.5 * self.penalty @ beta**2 + self.strength @ _losses(scores, self.targets))

    def slope(self, beta: Floats, scores: Floats) -> Floats:
        pull = (self.strength * (expit(scores) - self.targets)).astype(self.wide.dtype)
        return np.asarray(self.penalty * beta + self.wide.T @ pull, np.float64)

    def factor(self, scores: Floats) -> tuple[Any, bool]:
        """The curvature at these scores, factored."""
        chance = expit(scores)
        curve = self.strength * np.maximum(chance * (1 - chance), _FLOOR)
        scaled = self.wide * np.sqrt(curve).astype(self.wide.dtype)[:, None]
        hessian = np.asarray(scaled.T @ scaled, np.float64)
        hessian[np.diag_indices_from(hessian)] += self.penalty + 1e-8 * hessian.trace() / len(hessian)
        found: tuple[Any, bool] = cho_factor(hessian, check_finite=False)
        return found


class Primal:
    """Fits with more rows than numbers, again and again on nearly the same rows, weights and targets.

    A curvature costs far more than a slope, so that of one step serves the following ones, of later fits too,
    corrected by what the steps since have shown of it (the two-loop recursion of limited-memory BFGS:
    Nocedal, Math. Comp. 35, 1980); it is computed again when a step is larger than `_KEEP` times the one
    before.
    """

    def __init__(self) -> None:
        self._factor: tuple[Any, bool] | None = None
        self._steps: list[tuple[Floats, Floats]] = []

    def fit(
        self,
        wide: Floats | Floats32,
        targets: Floats,
        weights: Floats,
        c: float = 100.0,
        start: Floats | None = None,
        tolerance: float = 1e-6,
        ridge: float = 1.0,
    ) -> Floats:
        """Weights and bias (d + 1,).

        Parameters
        ----------
        wide : (n, d + 1) rows, the last number being 1.
        targets, weights : (n,); rows of weight 0 take no part.
        c : strength of the data against the penalty ``ridge * |w|^2 / 2``.
        start : where to begin, (d + 1,).
        tolerance : largest change of a score that is still to be expected at the end.
        """
        penalty = np.append(np.full(wide.shape[1] - 1, ridge), 0.0)
        loss = _Loss(wide, targets, weights * c, penalty)
        beta = np.zeros(wide.shape[1]) if start is None else start
        scores = loss.scores(beta)
        value, slope, before = loss.value(beta, scores), loss.slope(beta, scores), np.inf
        self._steps.clear()
        for _ in range(MAX_STEPS):
            fresh = self._factor is None
            move = -self._solve(slope, loss, scores)
            moved = loss.scores(move)
            for step in _HALVED:
                trial, trial_scores = beta + step * move, scores + step * moved
                trial_value = loss.value(trial, trial_scores)
                if trial_value <= value + 1e-9 * abs(value):
                    break
            else:
                self._factor = None
                if fresh:
                    break  # no step lowers the loss: this is the minimum as far as the numbers reach
                continue
            size = float(np.max(np.abs(moved))) * step
            shrinks = 0.0 if fresh else 0.9 if before == np.inf else min(size / before, 0.99)
            beta, scores, value = trial, trial_scores, trial_value
            if size < tolerance * (1 - shrinks):
                break
            new_slope = loss.slope(beta, scores)
            self._steps.append((step * move, new_slope - slope))
            slope = new_slope
            if step < 1 or (shrinks > _KEEP and np.isfinite(before)):
                self._factor = None
            before = size
        return beta

    def _solve(self, slope: Floats, loss: _Loss, scores: Floats) -> Floats:
        """The slope through the inverse of the curvature at hand, else of the present one."""
        if self._factor is None:
            self._factor = loss.factor(scores)
            self._steps.clear()
        kept = [(move, change, float(move @ change)) for move, change in self._steps]
        kept = [one for one in kept if one[2] > 1e-12 * float(one[1] @ one[1])]
        shares = []
        for move, change, product in reversed(kept):
            shares.append(float(move @ slope) / product)
            slope = slope - shares[-1] * change
        found = np.asarray(cho_solve(self._factor, slope, check_finite=False))
        for (move, change, product), share in zip(kept, reversed(shares), strict=True):
            found = found + (share - float(change @ found) / product) * move
        return found


def fit_primal(
    rows: Floats | Floats32,
    targets: Floats,
    weights: Floats,
    c: float = 100.0,
    tolerance: float = 1e-6,
) -> tuple[Floats, float]:
    """Fit rows (n, d) once, with more rows than numbers; parameters as in `Primal.fit`.

    Returns
    -------
    weights (d,) and bias.
    """
    wide = np.column_stack([rows, np.ones(len(rows), rows.dtype)])
    beta = Primal().fit(wide, targets, weights, c, tolerance=tolerance)
    return beta[:-1], float(beta[-1])


def prior_shift(targets: Floats, weights: Floats) -> float:
    """Log odds to add to a score that was fitted with balanced weights, to have the prior of the labels back.

    The labels' prior is smoothed by half a label on each side, so it is finite.
    """
    present = float(np.sum(weights * targets)) + 0.5
    absent = float(np.sum(weights * (1 - targets))) + 0.5
    return float(np.log(present / absent))
