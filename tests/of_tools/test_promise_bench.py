"""The bench of promises, measured small: it keeps the promise and catches its own broken variant."""

import numpy as np
import pytest

from tools.bench.promise import by_ridge, by_trainer, verdict


@pytest.mark.parametrize(("alpha", "n", "draws"), [(0.10, 40, 500), (0.05, 20, 150)])
def test_the_bench_keeps_the_promise_by_a_classifier_and_catches_the_broken_variant(alpha, n, draws):
    """Decks as vectors, a classifier a left-out deck, as many decks without the defect as with it."""
    draw = np.random.default_rng(1)
    found = [by_ridge(draw, alpha, n) for _ in range(draws)]
    missed, broken = np.array([one.missed for one in found]), np.array([one.broken for one in found])
    assert missed.mean() <= alpha + 3 * missed.std(ddof=1) / np.sqrt(draws)
    assert broken.mean() >= missed.mean()
    assert (verdict(alpha, n, broken) == "caught") == (alpha == 0.10)


def test_where_the_broken_variant_keeps_the_promise_the_bench_says_why():
    below = np.tile([0.0, 0.0, 0.0, 0.3], 100)
    assert "allows a mean loss of 0.110" in verdict(0.10, 10, below)
    assert "within the promise" in verdict(0.10, 10, below)
    assert "draws" in verdict(0.10, 10, below + 0.03)
    assert verdict(0.10, 10, below + 0.3) == "caught"


def test_the_trainer_itself_puts_few_of_a_new_decks_positives_in_unlikely():
    """Ten whole libraries through `train_tags` and `suggest`; the bench runs hundreds."""
    draw = np.random.default_rng(2)
    found = [by_trainer(draw, 0.2, 8) for _ in range(10)]
    missed = np.array([one.missed for one in found])
    assert missed.mean() <= 0.2 + 3 * max(float(missed.std(ddof=1)), 0.1) / np.sqrt(len(found))
    assert np.mean([one.spared for one in found]) > 0.1
    assert all(one.broken >= one.missed for one in found)
