"""Exact bounds for a rate of defects, as pure functions.

Sources: C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413; the hypergeometric bounds invert
the same two one-sided tests for a draw without replacement (W. G. Cochran, Sampling Techniques, 3rd ed.,
section 3.6); anytime-valid: I. Waudby-Smith and A. Ramdas, Confidence sequences for sampling without
replacement, NeurIPS 2020 (arXiv 2006.04347), the ratio of prior to posterior.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from triage.errors import BadInput

SIDES = ("two", "upper", "lower")


@dataclass(frozen=True)
class Bounds:
    """A count of defects in a pile of `population`, with its bounds.

    All are counts; the estimate need not be a whole number.
    """

    population: int
    estimate: float
    low: int
    high: int

    @property
    def rates(self) -> tuple[float, float, float]:
        """Estimate, low and high as shares of the pile (an empty pile has none: 0)."""
        size = max(self.population, 1)
        return self.estimate / size, self.low / size, self.high / size


def _risks(confidence: float, side: str) -> tuple[float, float]:
    """Risk below the low and above the high bound."""
    if not 0.5 <= confidence < 1.0:
        raise BadInput(f"confidence {confidence:g} is not between 0.5 and 1")
    if side not in SIDES:
        raise BadInput(f"side {side!r} is not one of {', '.join(SIDES)}")
    risk = 1.0 - confidence
    return {"two": (risk / 2, risk / 2), "upper": (0.0, risk), "lower": (risk, 0.0)}[side]


def clopper_pearson(
    defects: int, sample: int, confidence: float = 0.95, side: str = "two"
) -> tuple[float, float]:
    """Return the exact binomial bounds (low, high) of a rate; for draws with replacement or endless piles.

    Raises BadInput for an empty sample or more defects than items.
    """
    below, above = _risks(confidence, side)
    _check_counts(defects, sample)
    low = float(stats.beta.ppf(below, defects, sample - defects + 1)) if defects and below else 0.0
    full = defects == sample or not above
    high = 1.0 if full else float(stats.beta.ppf(1 - above, defects + 1, sample - defects))
    return low, high


def _check_counts(defects: int, sample: int, population: int | None = None) -> None:
    if sample <= 0:
        raise BadInput("nothing of the sample was looked at, so no rate can be stated")
    if not 0 <= defects <= sample:
        raise BadInput(f"{defects} defects in a sample of {sample} cannot be")
    if population is not None and sample > population:
        raise BadInput(f"a sample of {sample} is larger than the {population} there are")


def hypergeometric(
    defects: int, sample: int, population: int, confidence: float = 0.95, side: str = "two"
) -> Bounds:
    """Return exact bounds of the number of defects in a pile from a draw without replacement.

    The low bound is the smallest number K with P(X >= defects | K) above its risk, the high bound the
    largest with P(X <= defects | K) above its. Raises BadInput for an empty or impossible sample.
    """
    below, above = _risks(confidence, side)
    _check_counts(defects, sample, population)
    least, most = defects, population - (sample - defects)
    low = _first(least, most, lambda k: stats.hypergeom.sf(defects - 1, population, k, sample) > below)
    high = (
        most
        + least
        - _first(
            least,
            most,
            lambda k: stats.hypergeom.cdf(defects, population, most + least - k, sample) > above,
        )
    )
    return Bounds(population, population * defects / sample, low if below else least, high if above else most)


def _first(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """Smallest k in low..high for which `holds`, which is false up to some k and true from there on."""
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low


PRIOR_DRAWS = 20.0
"""Weight of the prior of the anytime bounds, in draws: as if that many had been looked at before."""


def log_ratio(
    count: ArrayLike, defects: ArrayLike, drawn: ArrayLike, population: int, prior: tuple[float, float]
) -> NDArray[np.float64]:
    """Return log(prior / posterior) of `count` defects in the pile after `drawn` photos in random order.

    The prior is beta-binomial(population, *prior). At the true count this ratio is a martingale that
    starts at 1, so it exceeds 1/risk at any time with probability `risk` at most (Ville). Arrays broadcast;
    infinity where the count is impossible after what was seen.
    """
    k, d, t = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in (count, defects, drawn)))
    a, b = prior
    possible = (k >= d) & (k <= population - (t - d))
    k = np.where(possible, k, d)
    before = _log_beta_binomial(k, float(population), a, b)
    after = _log_beta_binomial(k - d, population - t, a + d, b + t - d)
    return np.where(possible, before - after, np.inf)


def _log_beta_binomial(
    k: NDArray[np.float64], n: NDArray[np.float64] | float, a: ArrayLike, b: ArrayLike
) -> NDArray[np.float64]:
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    choose = special.gammaln(n + 1.0) - special.gammaln(k + 1.0) - special.gammaln(n - k + 1.0)
    return np.asarray(choose + special.betaln(k + a, n - k + b) - special.betaln(a, b))


def prior_for(rate: float) -> tuple[float, float]:
    """Return the prior (a, b) centred on a rate, for `log_ratio`; any prior is valid, a near one is fast."""
    centre = min(max(rate, 1e-4), 0.5)
    return PRIOR_DRAWS * centre, PRIOR_DRAWS * (1.0 - centre)


def anytime(
    defects: int,
    drawn: int,
    population: int,
    confidence: float = 0.95,
    prior: tuple[float, float] = (0.5, 0.5),
) -> Bounds:
    """Return bounds of the number of defects that hold however often one looks and whenever one stops.

    The photos must have been looked at in the order of a random draw without replacement. Raises BadInput
    for an impossible sample.
    """
    _check_counts(defects, drawn, population)
    limit = -np.log(1.0 - confidence)
    counts = np.arange(defects, population - (drawn - defects) + 1)
    kept = counts[log_ratio(counts, defects, drawn, population, prior) < limit]
    if not len(kept):
        kept = counts[[int(np.argmin(log_ratio(counts, defects, drawn, population, prior)))]]
    return Bounds(population, population * defects / drawn, int(kept[0]), int(kept[-1]))


@dataclass(frozen=True)
class Stop:
    """Where an audit may stop: after `drawn` photos, because the rate is `within` or `above` the target."""

    drawn: int
    verdict: str


def first_stop(
    found: ArrayLike, population: int, target_rate: float, confidence: float = 0.95
) -> Stop | None:
    """Return the first moment at which the pile's rate is shown to be within or above a target, or none.

    `found` holds 1 for a defect and 0 for none, in the order of the draw. A wrong verdict, at any moment,
    has probability 1 - confidence at most.
    """
    seen = np.asarray(found, dtype=float)
    if not len(seen):
        return None
    _check_counts(int(seen.sum()), len(seen), population)
    limit = -np.log(1.0 - confidence)
    drawn, defects = np.arange(1, len(seen) + 1), np.cumsum(seen)
    allowed = int(np.floor(target_rate * population + 1e-9))
    prior = prior_for(target_rate / 5.0)
    within = np.zeros(len(seen), dtype=bool)
    if allowed < population:
        ratio = log_ratio(allowed + 1, defects, drawn, population, prior)
        within = (ratio >= limit) & (defects * population <= allowed * drawn)
    ratio = log_ratio(allowed, defects, drawn, population, prior)
    above = (ratio >= limit) & (defects * population > allowed * drawn)
    stops = np.flatnonzero(within | above)
    if not len(stops):
        return None
    return Stop(int(drawn[stops[0]]), "within" if within[stops[0]] else "above")
