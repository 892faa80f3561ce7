"""Sizes of samples, acceptance plans, and the draws behind them."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from triage.audit.draw import draw, in_order, new_seed
from triage.audit.sizes import (
    acceptance_plan,
    acceptance_probability,
    allocate,
    sample_size,
)
from triage.errors import BadInput


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: sample_size(95, 0.05), "95 % is 0.95"),
        (lambda: sample_size(0.95, 5), "5 % is 0.05"),
        (lambda: sample_size(0.95, 0.05, 0), "nothing to sample"),
        (lambda: sample_size(0.95, 0.05, 10, 0.0), "proportion"),
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
