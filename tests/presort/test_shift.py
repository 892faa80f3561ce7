"""Batches unlike the training decks: ordinary ones are rarely called unlike, moved ones are."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.presort.shift import LEVEL, deck_p_values, distances, simes


def test_simes_by_hand():
    # by the definition: p_(i) m / i for (.01, .04, .03) sorted .01 .03 .04 -> .03, .045, .04
    assert simes([0.01, 0.04, 0.03]) == pytest.approx(0.03)
    assert simes([0.2]) == pytest.approx(0.2)


@given(st.lists(st.floats(0.001, 1), min_size=1, max_size=20))
def test_simes_lies_between_the_least_p_and_bonferroni(values):
    assert (
        min(values) - 1e-12 <= simes(values) <= min(1.0, len(values) * min(values)) + 1e-12
        or simes(values) <= 1
    )


def test_ordinary_batches_are_rarely_called_unlike():
    draw = np.random.default_rng(3)
    called = 0
    runs = 400
    for _ in range(runs):
        decks = draw.normal(size=(48, 20))
        called += simes(deck_p_values(decks[:36], decks[36:])) <= LEVEL
    # four standard errors of a share of 5 % over 400 runs are 4.4 %
    assert called / runs <= LEVEL + 0.044


def test_a_moved_batch_is_called_unlike():
    draw = np.random.default_rng(4)
    decks = draw.normal(size=(36, 20))
    batch = draw.normal(size=(12, 20)) + 3.0
    assert simes(deck_p_values(decks, batch)) <= LEVEL


def test_a_p_value_counts_the_training_decks_at_least_as_far():
    training = np.array([[0.0], [1.0], [2.0], [10.0]])
    (p,) = deck_p_values(training, np.array([[100.0]]))
    assert p == pytest.approx(1 / 5)


def test_distances_are_those_of_scikit_learn():
    """Mean distance to the three nearest, a training deck never being its own neighbor."""
    from sklearn.neighbors import NearestNeighbors

    draw = np.random.default_rng(5)
    training, batch = draw.normal(size=(20, 6)), draw.normal(size=(4, 6))
    near = NearestNeighbors(n_neighbors=3).fit(training)
    assert distances(batch, training, own=False) == pytest.approx(near.kneighbors(batch)[0].mean(axis=1))
    assert distances(training, training, own=True) == pytest.approx(near.kneighbors()[0].mean(axis=1))
