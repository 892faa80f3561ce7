"""The share of a tag in a batch by expectation and maximization, against closed forms."""

import numpy as np
import pytest

from triage.presort.prior import batch_share


@pytest.mark.parametrize(("low", "high", "count"), [(0.2, 0.7, 30), (0.1, 0.5, 55), (0.3, 0.9, 80)])
def test_two_distinct_probabilities_have_a_closed_form(low, high, count):
    """The likelihood of the share q is the product of 1 + (q - p) r with r = c/p - (1 - c)/(1 - p).

    With two values of r its derivative is linear in q (Saerens and others, 2002, equation of the maximum).
    """
    prior = 0.4
    chance = np.repeat([high, low], [count, 100 - count])
    r_high, r_low = (c / prior - (1 - c) / (1 - prior) for c in (high, low))
    closed = prior - (count * r_high + (100 - count) * r_low) / (100 * r_high * r_low)
    assert batch_share(chance, prior) == pytest.approx(min(1.0, max(0.0, closed)), abs=2e-3)


def test_a_batch_like_the_labeled_photos_keeps_their_share():
    rng = np.random.default_rng(1)
    chance = rng.beta(0.5, 1.5, 20_000)
    assert batch_share(chance, float(chance.mean())) == pytest.approx(float(chance.mean()), abs=1e-3)


@pytest.mark.parametrize("share", [0.05, 0.2, 0.6])
def test_a_known_shift_is_found(share):
    """Scores N(2, 1) and N(0, 1): exact probabilities at a prior of 0.3, a batch drawn with another share."""
    rng = np.random.default_rng(2)
    score = np.where(rng.random(40_000) < share, 2.0, 0.0) + rng.normal(size=40_000)
    odds = np.exp(2 * score - 2) * 0.3 / 0.7
    assert batch_share(odds / (1 + odds), 0.3) == pytest.approx(share, abs=0.01)


def test_nothing_is_said_of_nothing():
    assert batch_share([], 0.3) is None
    assert batch_share([0.5], 0.0) is None
