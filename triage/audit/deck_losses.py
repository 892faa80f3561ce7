"""What decks lose: mean loss per deck, and ratios over decks, with the sampling error of decks.

The promise is about the next deck, so decks are the sample, however many photos they have. Nothing is known
of the losses but that they lie between 0 and 1: most decks lose nothing and a few lose all, where intervals
by the normal law or Student's t are wrong. The bounds here hold for every such law and at every moment: they
are the values that a bet against them would not have won (I. Waudby-Smith, A. Ramdas, Estimating means of
bounded random variables by betting, JRSS B 86, 2024, arXiv 2010.09686; Ville's inequality). The bets are a
fixed mixture, so that the order of the decks does not matter.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

BETS = np.array([0.05, 0.15, 0.3, 0.5, 0.7, 0.9, 0.999])
"""Shares of the largest possible bet; half of the capital is on the last one, which shows soonest that decks
lose nothing."""
_SHARES = np.array([1.0] * 6 + [6.0]) / 12.0
_STEPS = 40


def log_capital(values: ArrayLike, mean: float) -> float:
    """Return the log of the capital won by betting that the mean of values in [0, 1] is above `mean`.

    While the mean is at most `mean` the capital exceeds 1/risk at any moment with probability `risk` at most.
    """
    x = np.asarray(values, float)
    if not len(x):
        return 0.0
    if mean <= 0.0:
        return float(np.inf) if x.max() > 0 else 0.0
    with np.errstate(divide="ignore"):
        won = np.log1p((BETS / mean)[:, None] * (x - mean)[None, :]).sum(axis=1) + np.log(_SHARES)
    top = float(won.max())
    return top + float(np.log(np.exp(won - top).sum()))


def shown_above(values: ArrayLike, mean: float, confidence: float) -> bool:
    """Say whether the mean is shown to be above a value; wrong with probability 1 - confidence at most."""
    return bool(log_capital(values, mean) >= -np.log(1.0 - confidence))


def shown_within(values: ArrayLike, mean: float, confidence: float) -> bool:
    """Say whether the mean is shown to be at most a value; wrong with probability 1 - confidence at most."""
    return bool(log_capital(1.0 - np.asarray(values, float), 1.0 - mean) >= -np.log(1.0 - confidence))


def mean_bounds(least: ArrayLike, most: ArrayLike, confidence: float = 0.95) -> tuple[float, float]:
    """Return bounds of the mean loss per deck, each wrong with probability (1 - confidence)/2 at most.

    `least` and `most` are the losses in [0, 1] as they would be if every unclear photo showed nothing, or
    showed the defect, whichever makes them smaller or larger.
    """
    each = 1.0 - (1.0 - confidence) / 2.0
    return (
        _lowest(lambda mean: not shown_above(least, mean, each)),
        1.0 - _lowest(lambda rest: not shown_within(most, 1.0 - rest, each)),
    )


def ratio_bounds(
    least: ArrayLike, most: ArrayLike, of: ArrayLike, largest: float, confidence: float = 0.95
) -> tuple[float, float]:
    """Return bounds of sum(count)/sum(of) over all decks, each wrong with probability (1 - confidence)/2.

    Parameters
    ----------
    least, most : counts of the drawn decks, unclear photos excluded or included.
    of : what they are counts of, at least as large.
    largest : the largest `of` that any deck has.
    """
    each = 1.0 - (1.0 - confidence) / 2.0
    few, many, size = (np.asarray(one, float) / max(largest, 1.0) for one in (least, most, of))
    return (
        _lowest(lambda ratio: not shown_above(few - ratio * size + ratio, ratio, each)),
        1.0 - _lowest(lambda rest: not shown_within(many + (1.0 - rest) * (1.0 - size), 1.0 - rest, each)),
    )


def _lowest(kept: Callable[[float], bool]) -> float:
    """Smallest value in [0, 1] that is kept, where all above it are kept too; rounded outward."""
    low, high = 0.0, 1.0
    if kept(low):
        return 0.0
    for _ in range(_STEPS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if kept(middle) else (middle, high)
    return low
