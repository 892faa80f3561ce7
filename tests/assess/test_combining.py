"""Laws of the combined probability, and of its fitting.

Bounds of the probability of a union with given marginals: Boole (1854), Frechet (1935): at least the largest,
at most min(1, their sum).
"""

import itertools
import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.assess.combining import RHO, fit_rho, group_maxima, mixing_ends, union_probability

probability = st.floats(0, 1, allow_nan=False)
several = st.lists(probability, max_size=12)


@given(several, probability)
def test_never_below_the_largest_never_above_the_sum(maxima, rho):
    combined = union_probability(maxima, rho)
    assert combined >= max(maxima, default=0.0)
    assert combined <= min(1.0, math.fsum(maxima))


@given(several.flatmap(lambda maxima: st.tuples(st.just(maxima), st.permutations(maxima))), probability)
def test_symmetric(pair, rho):
    one, other = pair
    assert union_probability(one, rho) == pytest.approx(union_probability(other, rho), abs=1e-15)


@given(several.filter(bool), probability, probability, st.data())
def test_monotone_in_every_probability(maxima, rho, raised, data):
    index = data.draw(st.integers(0, len(maxima) - 1))
    more = [*maxima]
    more[index] = max(maxima[index], raised)
    assert union_probability(more, rho) >= union_probability(maxima, rho) - 1e-15


@given(several, probability, probability)
def test_another_photo_never_lowers_it(maxima, another, rho):
    assert union_probability([*maxima, another], rho) >= union_probability(maxima, rho) - 1e-15


@given(several, probability, probability)
def test_falls_with_rho(maxima, one, other):
    low, high = sorted((one, other))
    assert union_probability(maxima, high) <= union_probability(maxima, low) + 1e-15


@pytest.mark.parametrize("maxima", [[0.2, 0.5], [0.1, 0.1, 0.7], [0.3] * 4])
def test_ends_are_the_comonotone_and_the_independent_union(maxima):
    """Independent: by inclusion and exclusion over all subsets."""
    independent = sum(
        (-1) ** (size + 1) * sum(math.prod(chosen) for chosen in itertools.combinations(maxima, size))
        for size in range(1, len(maxima) + 1)
    )
    assert union_probability(maxima, 0) == pytest.approx(independent, abs=1e-12)
    assert union_probability(maxima, 1) == max(maxima)
    assert union_probability(maxima) == pytest.approx((max(maxima) + independent) / 2, abs=1e-12)


def test_no_photo_is_zero_and_small_probabilities_are_not_lost():
    assert union_probability([]) == 0.0
    assert union_probability([1e-20, 1e-20], 0) == pytest.approx(2e-20)


@pytest.mark.parametrize(("maxima", "rho"), [([1.1], 0.5), ([-0.1], 0.5), ([0.5], 1.5), ([math.nan], 0.5)])
def test_what_is_no_probability_is_refused(maxima, rho):
    with pytest.raises(ValueError, match="between 0 and 1"):
        union_probability(maxima, rho)


def test_a_burst_counts_once():
    photos = [("burst 1", 0.3), ("burst 1", 0.6), ("photo 3", 0.2)]
    assert sorted(group_maxima(photos)) == [0.2, 0.6]
    twice = [*photos, ("burst 1", 0.6)]
    assert sorted(group_maxima(twice)) == sorted(group_maxima(photos))


def _decks(count: int, rho: float, seed: int) -> list[tuple[list[float], bool]]:
    """Decks whose truth is drawn from the mixture itself with a known rho."""
    draw = random.Random(seed)
    rows = []
    for _ in range(count):
        maxima = [draw.choice((0.05, 0.1, 0.2, 0.3)) for _ in range(draw.randint(2, 8))]
        rows.append((maxima, draw.random() < union_probability(maxima, rho)))
    return rows


def fitted(rows: list[tuple[list[float], bool]], decks: int | None = None) -> float | None:
    ends = np.array([mixing_ends(maxima, truth) for maxima, truth in rows])
    return fit_rho(ends, len(rows) if decks is None else decks)


@pytest.mark.parametrize("rho", [0.0, 1.0])
def test_fitting_finds_the_rho_the_decks_were_drawn_with(rho):
    assert fitted(_decks(4000, rho, seed=4)) == pytest.approx(rho, abs=0.15)


def test_below_thirty_decks_nothing_is_fitted():
    rows = _decks(30, 0.0, seed=1)
    assert {truth for _, truth in rows} == {True, False}
    assert fitted(rows) is not None
    assert fitted(rows[:29]) is None
    assert fitted(rows * 3, decks=29) is None


def test_decks_that_are_all_alike_say_nothing_about_rho():
    assert fitted([([0.5, 0.5], True)] * 40) is None
    assert fitted([([0.5, 0.5], False)] * 40) is None


def test_where_rho_makes_no_difference_it_stays_in_the_middle():
    assert fitted([([0.5], True), ([0.5], False)] * 20) == RHO


@given(
    rows=st.lists(
        st.tuples(st.lists(st.floats(0, 1), min_size=1, max_size=4), st.booleans()), min_size=30, max_size=40
    )
)
def test_the_fitted_rho_has_the_least_log_loss_of_the_grid(rows):
    """Worked out plainly, row by row: no rho of the grid is better."""

    def loss(rho):
        clipped = [min(1 - 1e-6, max(1e-6, union_probability(maxima, rho))) for maxima, _ in rows]
        return -sum(math.log(p if there else 1 - p) for p, (_, there) in zip(clipped, rows, strict=True))

    best = fitted(rows)
    if best is None:
        assert len({there for _, there in rows}) == 1
    else:
        assert loss(best) <= min(loss(step / 100) for step in range(101)) + 1e-7 * len(rows)
