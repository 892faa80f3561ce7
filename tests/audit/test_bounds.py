"""Exact and anytime bounds: coverage by enumeration and by simulated audits, and the draws behind them."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from triage.audit.bounds import anytime, clopper_pearson, first_stop, hypergeometric, log_ratio
from triage.audit.draw import draw, in_order, new_seed
from triage.audit.sizes import (
    acceptance_plan,
    acceptance_probability,
    allocate,
    sample_size,
    size_to_find_one,
)
from triage.errors import BadInput


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_clopper_pearson_equals_scipys(counts: tuple[int, int]) -> None:
    theirs = stats.binomtest(*counts).proportion_ci(0.95, "exact")
    assert clopper_pearson(*counts) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@pytest.mark.parametrize(("population", "sample"), [(12, 5), (30, 10), (40, 40), (25, 1)])
def test_hypergeometric_bounds_cover_every_pile(population: int, sample: int) -> None:
    """For every true number of defects the bounds hold with at least their confidence, by enumeration."""
    bounds = [hypergeometric(found, sample, population) for found in range(sample + 1)]
    for truth in range(population + 1):
        found = np.arange(sample + 1)
        chance = stats.hypergeom.pmf(found, population, truth, sample)
        inside = np.array([one.low <= truth <= one.high for one in bounds])
        assert chance[inside].sum() >= 0.95 - 1e-9
    assert bounds[0].low == 0


def test_a_pile_looked_at_whole_has_no_doubt_left() -> None:
    bounds = hypergeometric(3, 40, 40)
    assert (bounds.low, bounds.estimate, bounds.high) == (3, 3.0, 3)


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 40), st.integers(0, 3))
def test_a_huge_pile_is_an_endless_one(sample: int, found: int) -> None:
    found = min(found, sample)
    bounds = hypergeometric(found, sample, 10_000_000)
    assert bounds.rates[1:] == pytest.approx(clopper_pearson(found, sample), abs=1e-5)


def _audits(truth: int, population: int, times: int, length: int, seed: int) -> np.ndarray:
    generator = np.random.default_rng(seed)
    pile = np.zeros(population)
    pile[:truth] = 1
    return np.stack([generator.permutation(pile)[:length] for _ in range(times)])


TARGET = 0.05


@pytest.mark.parametrize("population", [2000, 10_000])
def test_a_thousand_audits_stop_early_and_are_right(population: int) -> None:
    """A pile of 1 % defects against a target of 5 %: the fixed sample is the one for 95 % and 5 %."""
    fixed = sample_size(0.95, 0.05, population)
    stops = [
        first_stop(row, population, TARGET) for row in _audits(population // 100, population, 1000, fixed, 1)
    ]
    drawn = [stop.drawn if stop else fixed for stop in stops]
    assert np.median(drawn) <= 0.6 * fixed
    assert sum(stop is not None and stop.verdict != "within" for stop in stops) <= 50


@pytest.mark.parametrize(("rate", "wrong"), [(0.0505, "within"), (0.08, "within"), (0.05, "above")])
def test_a_thousand_audits_err_in_five_of_a_hundred_at_most(rate: float, wrong: str) -> None:
    """At the very edge of the target and looking after every photo until the pile is at its end."""
    population = 2000
    stops = [
        first_stop(row, population, TARGET)
        for row in _audits(int(rate * population), population, 1000, 1900, 2)
    ]
    assert sum(stop is not None and stop.verdict == wrong for stop in stops) <= 50


def test_anytime_bounds_hold_at_every_moment() -> None:
    """A thousand audits, looked at after every tenth photo: all bounds of an audit hold, in 95 of 100."""
    population, truth = 600, 30
    outside = 0
    for row in _audits(truth, population, 1000, 300, 4):
        drawn = np.arange(10, 301, 10)
        ratio = log_ratio(truth, np.cumsum(row)[drawn - 1], drawn, population, (0.5, 0.5))
        outside += bool((ratio >= np.log(20)).any())
    assert outside <= 50


def test_anytime_bounds_are_where_the_ratio_is_below_its_limit() -> None:
    bounds = anytime(2, 50, 600)
    kept = [k for k in range(601) if log_ratio(k, 2, 50, 600, (0.5, 0.5)) < np.log(20)]
    assert (bounds.low, bounds.high) == (min(kept), max(kept))
    fixed = hypergeometric(2, 50, 600)
    assert bounds.low <= fixed.low
    assert bounds.high >= fixed.high
    assert anytime(5, 40, 40).high == anytime(5, 40, 40).low == 5


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: clopper_pearson(0, 0), "nothing of the sample"),
        (lambda: clopper_pearson(3, 2), "cannot be"),
        (lambda: clopper_pearson(1, 2, 1.5), "confidence"),
        (lambda: clopper_pearson(1, 2, side="left"), "side"),
        (lambda: hypergeometric(0, 11, 10), "larger than"),
        (lambda: sample_size(95, 0.05), "95 % is 0.95"),
        (lambda: sample_size(0.95, 5), "5 % is 0.05"),
        (lambda: sample_size(0.95, 0.05, 0), "nothing to sample"),
        (lambda: sample_size(0.95, 0.05, 10, 0.0), "proportion"),
        (lambda: size_to_find_one(0.95, 0, 10), "looked for"),
        (lambda: size_to_find_one(1.0, 1, 10), "confidence"),
        (lambda: acceptance_plan(0.1, 0.1), "below the bad rate"),
        (lambda: acceptance_plan(0.01, 0.1, 0.0), "risks"),
        (lambda: acceptance_plan(0.41, 0.44, 0.05, 0.05, 10), "short of everything"),
        (lambda: acceptance_probability(20, 1, 0.1, 10), "larger than"),
        (lambda: acceptance_probability(0, 1, 0.1), "sample of one"),
        (lambda: acceptance_probability(5, 1, 1.1), "rate"),
        (lambda: allocate({"a": 3}, 4), "cannot be drawn"),
        (lambda: draw([], 1, "1"), "nothing to draw"),
        (lambda: draw(["a"], 2, "1"), "larger than the 1"),
        (lambda: draw(["a"], 0, "1"), "sample of 0 is not possible"),
    ],
)
def test_what_cannot_be_is_a_sentence(call, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        call()


@settings(max_examples=40, deadline=None)
@given(st.floats(0.001, 0.1), st.floats(0.02, 0.3), st.sampled_from([None, 200, 1000]))
def test_a_plan_keeps_both_risks_and_no_smaller_one_does(
    good: float, apart: float, population: int | None
) -> None:
    bad = good + apart
    try:
        plan = acceptance_plan(good, bad, 0.05, 0.10, population)
    except BadInput:
        return
    assert plan.acceptance(good) >= 0.95
    assert plan.acceptance(bad) <= 0.10
    for sample in {plan.sample - 1, plan.sample // 2} - {0}:
        for accept in range(plan.accept + 1):
            passes = acceptance_probability(sample, accept, good, population) >= 0.95
            assert not (passes and acceptance_probability(sample, accept, bad, population) <= 0.10)


@settings(max_examples=50, deadline=None)
@given(st.dictionaries(st.text("abc", min_size=1, max_size=3), st.integers(0, 50), min_size=1), st.data())
def test_shares_add_up(sizes: dict[str, int], data: st.DataObject) -> None:
    total = sum(sizes.values())
    if not total:
        return
    sample = data.draw(st.integers(1, total))
    shares = allocate(sizes, sample)
    assert sample <= sum(shares.values()) <= sample + len(sizes)
    for name, share in shares.items():
        assert 1 <= share <= sizes[name]
        assert share <= sample * sizes[name] / total + 1
    fifteen = allocate(sizes, sample, 0.15)
    assert all(share >= 0.15 * sizes[name] for name, share in fifteen.items())


def test_a_draw_depends_on_seed_and_names_alone() -> None:
    items = [f"photo-{one}" for one in range(100)]
    assert draw(items, 10, "7") == draw(items[::-1] + items, 10, "7")
    assert draw(items, 20, "7")[:10] == draw(items, 10, "7")
    assert draw(items, 10, "8") != draw(items, 10, "7")
    assert len(new_seed()) == 12


def test_every_item_is_drawn_equally_often() -> None:
    """Chi-square over 4,000 seeds: the first of twenty items is each of them equally often."""
    first = [in_order(map(str, range(20)), str(seed))[0] for seed in range(4000)]
    assert stats.chisquare(np.bincount([int(one) for one in first], minlength=20)).pvalue > 0.001


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs the system's sha256sum")
def test_anybody_can_draw_again_with_sha256sum() -> None:
    items = [f"D-{one}/IMG_{one}.jpg" for one in range(12)]
    ticket = '"$(printf "%s" "2026:$i" | sha256sum | cut -c1-64)"'
    script = f'for i in "$@"; do printf "%s %s\\n" {ticket} "$i"; done | sort'
    out = subprocess.run(
        ["/bin/sh", "-c", script, "sh", *items], capture_output=True, text=True, check=True
    ).stdout
    assert [line.split(" ", 1)[1] for line in out.splitlines()] == in_order(items, "2026")
