"""How many must be looked at: sample sizes and acceptance sampling, always rounded up ('at least').

Sources: W. G. Cochran, Sampling Techniques, 3rd ed. (1977), chapter 4; R. V. Krejcie and D. W. Morgan,
Educational and Psychological Measurement 30 (1970) 607-610 (who round to the nearest); NIST/SEMATECH
e-Handbook of Statistical Methods, section 6.2.3, for single sampling plans.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

from triage.errors import BadInput

LAWS: tuple[tuple[str, str], ...] = (
    (
        "California Civil Code, section 5551",
        "a random sample that gives 95 % confidence with a margin of error of 5 % or less",
    ),
    (
        "California Health and Safety Code, section 17973",
        "at least 15 % of each type of exterior elevated element",
    ),
)
"""Laws that ask for samples, as read in public copies; local law decides."""
LOCAL_LAW = "Local law decides what must be sampled and by whom; these numbers are only the arithmetic."
MOST_SAMPLE = 1_000_000


def sample_size(
    confidence: float, margin: float, population: int | None = None, proportion: float = 0.5
) -> int:
    """Return how many items at least give a proportion to +- `margin` (0..1) at a confidence (0..1).

    n0 = z^2 p (1 - p) / margin^2, with the finite-population correction n0 / (1 + (n0 - 1) / N), rounded up.
    Raises BadInput outside the ranges or for a population of none.
    """
    if not 0.5 <= confidence < 1.0:
        raise BadInput(f"confidence {confidence:g} is not between 0.5 and 1 (95 % is 0.95)")
    if not 0.0 < margin < 1.0:
        raise BadInput(f"margin {margin:g} is not between 0 and 1 (5 % is 0.05)")
    if not 0.0 < proportion < 1.0:
        raise BadInput(f"proportion {proportion:g} is not between 0 and 1")
    z = float(stats.norm.ppf(0.5 + confidence / 2.0))
    size = z**2 * proportion * (1.0 - proportion) / margin**2
    if population is not None:
        if population < 1:
            raise BadInput("there is nothing to sample")
        size /= 1.0 + (size - 1.0) / population
    return _up(size, population)


def _up(size: float, population: int | None) -> int:
    needed = max(1, math.ceil(size - 1e-9))
    return needed if population is None else min(needed, population)


@dataclass(frozen=True)
class Plan:
    """A single sampling plan: look at `sample`, accept with at most `accept` defects."""

    sample: int
    accept: int
    population: int | None = None

    def acceptance(self, rate: float) -> float:
        """Return the probability (0..1) that a pile with this rate of defects is accepted."""
        return acceptance_probability(self.sample, self.accept, rate, self.population)


def acceptance_probability(sample: int, accept: int, rate: float, population: int | None = None) -> float:
    """Return the probability of at most `accept` defects in a sample from a pile with a rate of defects.

    Binomial, or hypergeometric where the pile's size is given (the rate's count is rounded to the nearest).
    Raises BadInput outside the ranges.
    """
    if not 0.0 <= rate <= 1.0:
        raise BadInput(f"rate {rate:g} is not between 0 and 1")
    if sample < 1 or accept < 0:
        raise BadInput("a plan needs a sample of one or more and an acceptance number of 0 or more")
    if population is None:
        return float(stats.binom.cdf(accept, sample, rate))
    if sample > population:
        raise BadInput(f"a sample of {sample} is larger than the {population} there are")
    return float(stats.hypergeom.cdf(accept, population, round(rate * population), sample))


def acceptance_plan(
    good_rate: float,
    bad_rate: float,
    producer_risk: float = 0.05,
    consumer_risk: float = 0.05,
    population: int | None = None,
) -> Plan:
    """Return the smallest single plan that keeps both risks: rejecting a good pile, accepting a bad one.

    Raises BadInput where the good rate is not below the bad one, or no plan exists (look at everything).
    """
    if not 0.0 <= good_rate < bad_rate <= 1.0:
        raise BadInput(f"the good rate {good_rate:g} must be below the bad rate {bad_rate:g}")
    if not (0.0 < producer_risk < 1.0 and 0.0 < consumer_risk < 1.0):
        raise BadInput("risks lie between 0 and 1")
    most = MOST_SAMPLE if population is None else population
    for accept in range(most):
        sample = _least_sample(accept, bad_rate, consumer_risk, population, most)
        if sample is None:
            break
        plan = Plan(sample, accept, population)
        if plan.acceptance(good_rate) >= 1.0 - producer_risk:
            return plan
    raise BadInput("no sample short of everything tells these two rates apart", "look at the whole pile")


def _least_sample(
    accept: int, bad_rate: float, consumer_risk: float, population: int | None, most: int
) -> int | None:
    """Smallest sample for which a bad pile passes with at most the consumer's risk, or none."""

    def passes(sample: int) -> bool:
        return acceptance_probability(sample, accept, bad_rate, population) <= consumer_risk

    low, high = accept + 1, accept + 2
    while not passes(min(high, most)):
        if high >= most:
            return None
        low, high = high, high * 2
    high = min(high, most)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if passes(middle) else (middle + 1, high)
    return low


def allocate(sizes: dict[str, int], sample: int, least_share: float = 0.0) -> dict[str, int]:
    """Share a sample out over strata in proportion to their sizes, each with one item at least.

    Largest remainders decide; `least_share` (0..1) is the least share of each stratum, rounded up, so the
    total may exceed `sample`. Empty strata get none. Raises BadInput when the sample exceeds what there is.
    """
    total = sum(sizes.values())
    if not 1 <= sample <= total:
        raise BadInput(f"a sample of {sample} cannot be drawn from {total}")
    exact = {name: sample * size / total for name, size in sizes.items() if size}
    shares = {name: math.floor(part) for name, part in exact.items()}
    by_rest = sorted(exact, key=lambda name: (shares[name] - exact[name], name))
    for name in by_rest[: sample - sum(shares.values())]:
        shares[name] += 1
    return {
        name: min(sizes[name], max(1, part, math.ceil(least_share * sizes[name] - 1e-9)))
        for name, part in shares.items()
    }
