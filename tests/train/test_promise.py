"""The promise over simulated draws: kept on average, and a broken variant that the same check catches.

Decks with the defect are exchangeable; a model that leaves one out scores its positive photos. `draw_decks`
stands for labeled libraries: per-deck quality differs, photos of a deck are alike.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.train.promise import decks_needed, make_promise, threshold


def draw_decks(draw, n):
    """Scores of the positive photos of n decks: decks differ more than their photos."""
    level = draw.normal(1.5, 1.0, n)
    return [level[k] + draw.normal(0, 0.7, draw.integers(1, 7)) for k in range(n)]


def missed(scores, at):
    return float(np.mean(scores < at)) if at is not None else 0.0


def mean_missed(alpha, n, draws, broken=False, seed=0):
    """Mean share of the next deck's positive photos below the threshold, with its standard error."""
    draw = np.random.default_rng(seed)
    found = []
    for _ in range(draws):
        decks = draw_decks(draw, n + 1)
        labeled = decks[:n]
        if broken:  # decks without the defect counted as decks that lost nothing
            labeled = [*labeled, *[np.array([np.inf])] * (3 * n)]
        found.append(missed(decks[n], threshold(labeled, alpha)))
    return float(np.mean(found)), float(np.std(found, ddof=1) / np.sqrt(draws))


@pytest.mark.parametrize(("alpha", "n"), [(0.10, 12), (0.10, 30), (0.05, 25)])
def test_the_next_deck_misses_at_most_what_was_promised(alpha, n):
    mean, error = mean_missed(alpha, n, draws=1500)
    assert mean <= alpha + 3 * error


def test_counting_decks_without_the_defect_breaks_the_promise_and_is_caught():
    mean, error = mean_missed(0.10, 12, draws=600, broken=True)
    assert mean > 0.10 + 3 * error


@pytest.mark.parametrize(("alpha", "n"), [(0.10, 9), (0.05, 19), (0.02, 49)])
def test_how_many_decks_a_promise_needs(alpha, n):
    """1/alpha - 1 decks (arXiv 2208.02814: n/(n + 1) R + B/(n + 1) <= alpha with R = 0, B = 1)."""
    assert decks_needed(alpha) == n
    ones = [np.array([1.0])] * n
    assert make_promise(ones, alpha).holds
    few = make_promise(ones[1:], alpha)
    assert (few.holds, few.missing) == (False, 1)
    assert few.threshold is None


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.lists(st.floats(-5, 5), min_size=1, max_size=5), min_size=9, max_size=25),
    st.sampled_from([0.1, 0.2]),
)
def test_the_threshold_is_the_largest_that_meets_the_criterion(decks, alpha):
    scores = [np.array(deck) for deck in decks]
    at = threshold(scores, alpha)
    n = len(scores)

    def risk(t):
        return (sum(missed(deck, t) for deck in scores) + 1) / (n + 1)

    assert at is not None
    assert risk(at) <= alpha + 1e-9
    higher = [score for deck in scores for score in deck if score > at]
    if higher:
        assert risk(np.nextafter(min(higher), np.inf)) > alpha - 1e-9 or risk(min(higher)) > alpha


@given(st.permutations(range(12)))
def test_the_order_of_decks_does_not_matter(order):
    decks = draw_decks(np.random.default_rng(5), 12)
    assert threshold(decks, 0.1) == threshold([decks[k] for k in order], 0.1)
