"""One probability for a deck out of many photos of it.

Photos of one burst show the same thing, so a group's probability is the largest in the group. Over groups,

    P = rho * max(m) + (1 - rho) * (1 - prod(1 - m)).

The first term is the probability of the union of events with these marginals when they are comonotone, the
second when they are independent; a mixture of the two is the probability of a union too, so P is never below
the largest m and never above min(1, sum of m) (Boole's and Frechet's bounds).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
RHO = 0.5
"""Used until enough decks are there to fit it."""
FIT_FROM_DECKS = 30
_STEPS = 100
_FLOOR = 1e-6


def group_maxima(photos: Iterable[tuple[Hashable, float]]) -> list[float]:
    """Return the largest probability of every group, from (group, probability) pairs."""
    largest: dict[Hashable, float] = {}
    for group, probability in photos:
        largest[group] = max(largest.get(group, 0.0), probability)
    return list(largest.values())


def union_probability(maxima: Sequence[float], rho: float = RHO) -> float:
    """Return P for the groups' probabilities (each in [0, 1]); 0 for none.

    Raises ValueError when a probability or rho lies outside [0, 1].
    """
    if not 0 <= rho <= 1 or not all(0 <= value <= 1 for value in maxima):
        raise ValueError("probabilities and rho lie between 0 and 1")
    if not maxima:
        return 0.0
    largest = max(maxima)
    complement = math.exp(math.fsum(math.log1p(-value) for value in maxima)) if largest < 1 else 0.0
    independent = max(largest, 1 - complement)
    return min(1.0, largest + (1 - rho) * (independent - largest), math.fsum(maxima))


def mixing_ends(maxima: Sequence[float], truth: bool) -> tuple[float, float, float]:
    """Return (P at rho 0, P at rho 1, truth): all that fitting needs, for P is linear in rho."""
    return union_probability(maxima, 0.0), union_probability(maxima, 1.0), float(truth)


def fit_rho(ends: FloatArray, decks: int) -> float | None:
    """Return the rho in [0, 1] with the least log loss, to 0.01; null below 30 decks.

    `ends` is an array (rows, 3) of `mixing_ends`, a row for each deck and tag; `decks` is how many decks they
    come from. Ties go to the rho nearest to 0.5. Needs rows with the defect and rows without it, else null.
    """
    apart, together, truth = ends.T
    if decks < FIT_FROM_DECKS or truth.all() or not truth.any():
        return None
    grid = np.arange(_STEPS + 1) / _STEPS
    losses = np.array([_log_loss(apart + rho * (together - apart), truth) for rho in grid])
    best = grid[losses <= losses.min() + 1e-12]
    return float(best[np.argmin(np.abs(best - RHO))])


def _log_loss(probability: FloatArray, truth: FloatArray) -> float:
    clipped = np.clip(probability, _FLOOR, 1 - _FLOOR)
    return float(-np.log(np.where(truth > 0, clipped, 1 - clipped)).mean())
