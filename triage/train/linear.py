"""Penalised logistic regression by Newton's method: few rows and many numbers, or many rows and few.

Both minimise ``|w|^2 / 2 + C * sum_i s_i * loss(y_i, w.x_i + b)`` with an unpenalised b and targets y in
[0, 1]; for targets 0 and 1 that is scikit-learn's ``LogisticRegression(C=C)`` with sample weights s
(checked in tests). The minimum is unique, so the result depends neither on the start nor on the order of
the rows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import expit

if TYPE_CHECKING:
    from triage.train.types import Floats, Floats32

MAX_STEPS = 60
_FLOOR = 1e-4
"""Least curvature of a row's loss that a step reckons with, as a share of the row's strength: where all rows
are fitted well the true curvature vanishes, and a step through it would run away."""
_KEEP = 0.3
"""A kept curvature is given up when a step is larger than this share of the step before."""


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


class Primal:
    """Fits with more rows than numbers, again and again on the same rows with other weights and targets.

    A step's curvature costs far more than its gradient, so the factor of one step serves the following ones,
    of later fits too, until a step gets less than `_KEEP` times smaller: then it is computed anew.

    Parameters
    ----------
    wide : (n, d + 1) rows, the last number being 1; the caller may change it between fits.
    """

    def __init__(self, wide: Floats | Floats32) -> None:
        self.wide = wide
        self._factor: tuple[Any, bool] | None = None

    def fit(
        self,
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
        targets, weights : (n,); rows of weight 0 take no part.
        c : strength of the data against the penalty ``ridge * |w|^2 / 2``.
        start : where to begin, (d + 1,).
        tolerance : largest change of a score that is still to be expected at the end.
        """
        wide, strength = self.wide, weights * c
        penalty = np.full(wide.shape[1], ridge)
        penalty[-1] = 0.0
        beta = np.zeros(wide.shape[1]) if start is None else start
        scores = np.asarray(wide @ beta.astype(wide.dtype), np.float64)
        value = 0.5 * penalty @ beta**2 + strength @ _losses(scores, targets)
        before = np.inf
        for _ in range(MAX_STEPS):
            fresh = self._factor is None
            move = self._move(beta, scores, targets, strength, penalty)
            moved = np.asarray(wide @ move.astype(wide.dtype), np.float64)
            for halvings in range(20):
                step = 0.5**halvings
                trial, trial_scores = beta + step * move, scores + step * moved
                trial_value = 0.5 * penalty @ trial**2 + strength @ _losses(trial_scores, targets)
                if trial_value <= value + 1e-9 * abs(value):
                    break
            else:
                self._factor = None
                if fresh:
                    break  # no step lowers the loss: this is the minimum as far as the numbers reach
                continue
            beta, scores, value = trial, trial_scores, trial_value
            size = float(np.max(np.abs(moved))) * step
            shrinks = 0.0 if fresh else 0.9 if before == np.inf else min(size / before, 0.99)
            if size < tolerance * (1 - shrinks):
                break
            if halvings or (shrinks > _KEEP and np.isfinite(before)):
                self._factor = None
            before = size
        return beta

    def _move(
        self, beta: Floats, scores: Floats, targets: Floats, strength: Floats, penalty: Floats
    ) -> Floats:
        """The step (d + 1,) by the curvature at hand, or where there is none by the present one."""
        wide, chance = self.wide, expit(scores)
        if self._factor is None:
            curve = strength * np.maximum(chance * (1 - chance), _FLOOR)
            scaled = wide * np.sqrt(curve).astype(wide.dtype)[:, None]
            hessian = np.asarray(scaled.T @ scaled, np.float64)
            hessian[np.diag_indices_from(hessian)] += penalty + 1e-8 * hessian.trace() / len(hessian)
            self._factor = cho_factor(hessian, check_finite=False)
        slope = np.asarray(wide.T @ (strength * (chance - targets)).astype(wide.dtype), np.float64)
        return -np.asarray(cho_solve(self._factor, penalty * beta + slope, check_finite=False))


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
    beta = Primal(wide).fit(targets, weights, c, tolerance=tolerance)
    return beta[:-1], float(beta[-1])


def prior_shift(targets: Floats, weights: Floats) -> float:
    """Log odds to add to a score that was fitted with balanced weights, to have the prior of the labels back.

    The labels' prior is smoothed by half a label on each side, so it is finite.
    """
    present = float(np.sum(weights * targets)) + 0.5
    absent = float(np.sum(weights * (1 - targets))) + 0.5
    return float(np.log(present / absent))
