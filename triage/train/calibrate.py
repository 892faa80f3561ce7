"""From a raw score to a probability.

Which map, by the number of positives that were scored by models that had not seen their deck:
below 20 the raw log odds with the labels' prior; from 20 Platt's logistic with his smoothed targets (Platt,
Advances in Large Margin Classifiers, 1999); from 50 beta calibration (Kull, Silva Filho, Flach, AISTATS 2017)
where its log loss over left-out decks is lower by more than one standard error; from 500 isotonic regression
under the same condition.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import expit

from triage.train.linear import fit_primal
from triage.train.types import Calibration

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Floats

    Fit = Callable[[Floats, Floats], Calibration]

PLATT_FROM = 20
BETA_FROM = 50
ISOTONIC_FROM = 500
_EDGE = 1e-6


def apply(calibration: Calibration, raw: Floats) -> Floats:
    """Probabilities of raw scores, same shape."""
    numbers = calibration.numbers
    if calibration.kind == "raw":
        return np.asarray(expit(raw + (numbers[0] if numbers else 0.0)))
    if calibration.kind == "platt":
        return np.asarray(expit(numbers[0] * raw + numbers[1]))
    if calibration.kind == "beta":
        chance = np.clip(expit(numbers[3] * raw + numbers[4]), _EDGE, 1 - _EDGE)
        return np.asarray(expit(numbers[0] * np.log(chance) - numbers[1] * np.log1p(-chance) + numbers[2]))
    half = len(numbers) // 2
    return np.asarray(np.interp(raw, numbers[:half], numbers[half:]))


def platt_targets(labels: Floats) -> Floats:
    """Platt's targets: (n1 + 1)/(n1 + 2) for present, 1/(n0 + 2) for absent."""
    present = float(labels.sum())
    absent = len(labels) - present
    return np.asarray(np.where(labels > 0.5, (present + 1) / (present + 2), 1 / (absent + 2)))


LEAST_SLOPE = 0.05
"""Least slope of a fitted logistic, per standard deviation of the score: one deviation moves p by .0125."""


def fit_platt(raw: Floats, labels: Floats) -> Calibration:
    """Logistic in the raw score with smoothed targets, never falling.

    Where left-out scores tell nothing (a slope near zero or below), every photo gets nearly the share of
    positives; a hair of slope keeps the order of the scores, so that photos are still looked at in it.
    """
    spread = max(float(raw.std()), _EDGE)
    column = (raw / spread)[:, None]
    slope, offset = fit_primal(column, platt_targets(labels), np.ones(len(raw)), c=1e4)
    if slope[0] < LEAST_SLOPE:
        share = float(platt_targets(labels).mean())
        middle = float(np.log(share / (1 - share)) - LEAST_SLOPE * column.mean())
        return Calibration("platt", (LEAST_SLOPE / spread, middle))
    return Calibration("platt", (float(slope[0] / spread), offset))


def fit_beta(raw: Floats, labels: Floats) -> Calibration:
    """Beta calibration of the Platt probability: logistic in log p and -log(1 - p), slopes not negative."""
    first = fit_platt(raw, labels)
    chance = np.clip(apply(first, raw), _EDGE, 1 - _EDGE)
    columns = np.column_stack([np.log(chance), -np.log1p(-chance)])
    targets, ones = platt_targets(labels), np.ones(len(raw))
    slopes, offset = fit_primal(columns, targets, ones, c=1e4)
    for side in np.flatnonzero(slopes < 0):
        other = 1 - side
        slope, offset = fit_primal(columns[:, [other]], targets, ones, c=1e4)
        slopes = np.zeros(2)
        slopes[other] = max(slope[0], 0.0)
        break
    return Calibration("beta", (float(slopes[0]), float(slopes[1]), offset, *first.numbers))


def fit_isotonic(raw: Floats, labels: Floats) -> Calibration:
    """Isotonic regression, clipped away from 0 and 1 by one count in n."""
    from sklearn.isotonic import IsotonicRegression

    edge = 1 / (len(raw) + 2)
    model = IsotonicRegression(y_min=edge, y_max=1 - edge, out_of_bounds="clip").fit(raw, labels)
    return Calibration("isotonic", (*map(float, model.X_thresholds_), *map(float, model.y_thresholds_)))


def choose(raw: Floats, labels: Floats, folds: NDArray[np.intp], decks: NDArray[np.intp]) -> Calibration:
    """The calibration for these left-out scores (n,), by the rule of this module.

    folds : (n,) fold of each row, whole decks together; decks : (n,) deck of each row.
    """
    present = int(labels.sum())
    if present < PLATT_FROM or present == len(labels):
        return Calibration("raw", (0.0,))
    best: Fit = fit_platt
    rivals: list[Fit] = [fit_beta] if present >= BETA_FROM else []
    rivals += [fit_isotonic] if present >= ISOTONIC_FROM else []
    loss = _log_losses(cross_fit(best, raw, labels, folds), labels)
    for fit in rivals:
        other = _log_losses(cross_fit(fit, raw, labels, folds), labels)
        gain = np.bincount(decks, loss - other)
        error = float(gain.std() * np.sqrt(len(gain)))
        if float(gain.sum()) > error:
            best, loss = fit, other
    return best(raw, labels)


def cross_fit(fit: Fit, raw: Floats, labels: Floats, folds: NDArray[np.intp]) -> Floats:
    """Probabilities (n,) of each fold by the calibration fitted on the others' left-out scores."""
    out = np.empty(len(raw))
    for fold in np.unique(folds):
        here = folds == fold
        rest = labels[~here]
        calibration = fit(raw[~here], rest) if 0 < rest.sum() < len(rest) else Calibration("raw", (0.0,))
        out[here] = apply(calibration, raw[here])
    return out


def held_out_probabilities(
    raw: Floats, labels: Floats, folds: NDArray[np.intp], decks: NDArray[np.intp]
) -> Floats:
    """Probabilities (n,) of each fold by the calibration that `choose` picks on the other folds."""
    out = np.empty(len(raw))
    for fold in np.unique(folds):
        here = folds == fold
        out[here] = apply(choose(raw[~here], labels[~here], folds[~here], decks[~here]), raw[here])
    return out


def _log_losses(probabilities: Floats, labels: Floats) -> Floats:
    chance = np.clip(probabilities, _EDGE, 1 - _EDGE)
    return -np.asarray(np.where(labels > 0.5, np.log(chance), np.log1p(-chance)))
