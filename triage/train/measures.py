"""Figures of a ranking and of probabilities, with intervals by bootstrap over decks.

Average precision as scikit-learn defines it (ties share one threshold), ROC-AUC as the Mann-Whitney share,
Brier score with Murphy's decomposition (J. Appl. Meteorol. 12, 1973), expected calibration error over bins of
equal mass. All take weights, so that a bootstrap is a matrix of weights.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from triage.train.table import draw
from triage.train.types import Figures

if TYPE_CHECKING:
    from triage.train.types import Floats

BOOTSTRAPS = 1000
LEAST_DECKS = 5
"""Decks with the defect below which no interval is given."""
SAME = 1e-9
"""Ends of an interval that lie closer were drawn from decks without any mistake."""


def _steps(scores: Floats, labels: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Cumulated present and absent weight (..., steps) at each distinct score, highest first."""
    order = np.argsort(-scores, kind="stable")
    ends = np.append(np.flatnonzero(np.diff(scores[order])), len(scores) - 1)
    sorted_weights = weights[..., order]
    present = np.cumsum(sorted_weights * labels[order], axis=-1)[..., ends]
    absent = np.cumsum(sorted_weights * (1 - labels[order]), axis=-1)[..., ends]
    return present, absent


def average_precision(scores: Floats, labels: Floats, weights: Floats | None = None) -> Floats:
    """Average precision of scores (n,) for labels 0/1 (n,); weights (n,) or (B, n) give a value or B of them.

    NaN where no present weight is left: callers drop those.
    """
    weights = np.ones(len(scores)) if weights is None else weights
    present, absent = _steps(scores, labels, weights)
    total = present[..., -1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        precision = np.where(present > 0, present / (present + absent), 0.0)
        gained = np.diff(present, axis=-1, prepend=0.0) / total
        return np.asarray(np.sum(precision * gained, axis=-1))


def roc_auc(scores: Floats, labels: Floats, weights: Floats | None = None) -> Floats:
    """Chance that a present photo outranks an absent one (ties half); shapes as `average_precision`."""
    weights = np.ones(len(scores)) if weights is None else weights
    present, absent = _steps(scores, labels, weights)
    gained = np.diff(present, axis=-1, prepend=0.0)
    passed = absent - np.diff(absent, axis=-1, prepend=0.0) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        lost = np.sum(gained * passed, axis=-1) / (present[..., -1] * absent[..., -1])
    return np.asarray(1 - lost)


def brier(probabilities: Floats, labels: Floats, weights: Floats | None = None) -> Floats:
    """Mean squared error of probabilities (n,); shapes as `average_precision`."""
    weights = np.ones(len(labels)) if weights is None else weights
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(weights @ (probabilities - labels) ** 2 / weights.sum(axis=-1))


def equal_mass_bins(probabilities: Floats, bins: int = 10) -> list[np.ndarray]:
    """Indices of each bin: sorted probabilities cut into bins of equal mass, equal ones never parted."""
    order = np.argsort(probabilities, kind="stable")
    ordered = probabilities[order]
    edges = [0]
    for k in range(1, min(bins, len(order))):
        cut = int(np.searchsorted(ordered, ordered[k * len(order) // bins], side="left"))
        if cut > edges[-1]:
            edges.append(cut)
    edges.append(len(order))
    return [order[low:high] for low, high in zip(edges, edges[1:], strict=False) if high > low]


def calibration_error(probabilities: Floats, labels: Floats, bins: int = 10) -> float:
    """Expected calibration error: mean over bins of equal mass of |mean probability - share present|."""
    groups = equal_mass_bins(probabilities, bins)
    gaps = [len(g) * abs(float(probabilities[g].mean() - labels[g].mean())) for g in groups]
    return float(sum(gaps) / len(labels))


def decompose_brier(probabilities: Floats, labels: Floats, bins: int = 10) -> tuple[float, float, float]:
    """(reliability, resolution, uncertainty) over bins of equal mass.

    Their `reliability - resolution + uncertainty` is the Brier score of the probabilities replaced by the
    mean of their bin.
    """
    base = float(labels.mean())
    reliability = resolution = 0.0
    for group in equal_mass_bins(probabilities, bins):
        share = float(labels[group].mean())
        reliability += len(group) * (float(probabilities[group].mean()) - share) ** 2
        resolution += len(group) * (share - base) ** 2
    return reliability / len(labels), resolution / len(labels), base * (1 - base)


def deck_weights(decks: Sequence[str], seed: int = 0, draws: int = BOOTSTRAPS) -> Floats:
    """(draws, n) how often each row counts when the decks are drawn with replacement."""
    names, place = np.unique(np.asarray(decks), return_inverse=True)
    rng = np.random.default_rng(draw(seed, "bootstrap", len(names)))
    times = rng.multinomial(len(names), np.full(len(names), 1 / len(names)), size=draws)
    return np.asarray(times[:, place], float)


def interval(values: Floats, level: float = 0.95) -> tuple[float | None, float | None]:
    """Percentile interval of bootstrap values; those that could not be computed are dropped.

    Values that are all alike give none: decks without any mistake, drawn again, say nothing of the next deck.
    """
    kept = values[np.isfinite(values)]
    if len(kept) < len(values) / 2 or np.ptp(kept) < SAME:
        return None, None
    low, high = np.quantile(kept, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def figures(
    raw: Floats, probabilities: Floats, labels: Floats, decks: Sequence[str], seed: int = 0
) -> Figures:
    """The card's figures from left-out scores (n,), left-out probabilities, labels 0/1 and decks."""
    present_decks = {deck for deck, label in zip(decks, labels, strict=True) if label > 0.5}
    intervals: list[float | None] = [None] * 6
    if len(present_decks) >= LEAST_DECKS:
        weights = deck_weights(decks, seed)
        values = (
            average_precision(raw, labels, weights),
            roc_auc(raw, labels, weights),
            brier(probabilities, labels, weights),
        )
        intervals = [edge for value in values for edge in interval(value)]
    reliability, resolution, uncertainty = decompose_brier(probabilities, labels)
    return Figures(
        average_precision=float(average_precision(raw, labels)),
        average_precision_low=intervals[0],
        average_precision_high=intervals[1],
        roc_auc=float(roc_auc(raw, labels)),
        roc_auc_low=intervals[2],
        roc_auc_high=intervals[3],
        brier=float(brier(probabilities, labels)),
        brier_low=intervals[4],
        brier_high=intervals[5],
        reliability=reliability,
        resolution=resolution,
        uncertainty=uncertainty,
        calibration_error=calibration_error(probabilities, labels),
    )
