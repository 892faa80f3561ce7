"""Look here first: where a list ends, what share it holds, who uses it; laws over random cases."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.assess.order import DANGER, LOOK, Ordering
from triage.library.look_lines import LookLine, keep_lines, leads_of, lines_of, open_above
from triage.presort.look_first import LEAST_POSITIVES, MOST_FURTHER, NOTHING, line_at, look_line, share_above
from triage.train.types import Calibration

CHANCES = st.lists(st.floats(0, 1, width=16), min_size=1, max_size=60)


@settings(deadline=None)
@given(CHANCES)
def test_below_the_line_few_are_expected_and_one_photo_less_would_leave_too_many(chances):
    chances = np.array(chances)
    line, listed, further = line_at(chances)
    below = chances[chances < line]
    assert listed == int((chances >= line).sum())
    assert further == pytest.approx(below.sum())
    assert further < MOST_FURTHER
    if listed:
        assert below.sum() + chances[chances == line].sum() >= MOST_FURTHER


@settings(deadline=None)
@given(CHANCES, st.floats(0, 1, width=16))
def test_one_more_photo_never_takes_one_out_of_the_list(chances, more):
    """What was to be looked at first stays so when the batch grows."""
    line = line_at(np.array(chances))[0]
    assert line_at(np.array([*chances, more]))[0] <= line or line == NOTHING


@settings(deadline=None)
@given(CHANCES, st.floats(0.05, 0.9))
def test_a_lower_level_makes_the_list_no_other_order(chances, factor):
    """Every probability scaled down: the list is still a beginning of the same order."""
    chances = np.array(chances)
    first = set(np.flatnonzero(chances >= line_at(chances)[0]))
    scaled = set(np.flatnonzero(chances * factor >= line_at(chances * factor)[0]))
    assert scaled <= first


class Model:
    """As much of a trained model as the share is counted from."""

    tag = "missing-hanger"
    calibration = Calibration("raw", (0.0,))

    def __init__(self, present, absent, decks):
        self.held_out = {f"p{k}": (raw, 1.0, 0.0) for k, raw in enumerate(present)}
        self.held_out |= {f"a{k}": (raw, 0.0, 0.0) for k, raw in enumerate(absent)}
        self.positive_decks = decks


def test_below_ten_positives_nothing_is_said_about_the_share():
    line = look_line(Model([1.0] * (LEAST_POSITIVES - 1), [-1.0] * 9, 5), np.array([0.9, 0.1]))
    assert line.share is None
    assert line.why_not == "only 9 photos show it, 10 are needed"
    assert "cannot be said" in line.sentence()
    assert look_line(Model([1.0], [], 1), np.array([0.9])).why_not.startswith("only 1 photo shows it")


@settings(deadline=None)
@given(st.lists(st.floats(-4, 4), min_size=LEAST_POSITIVES, max_size=40), st.integers(1, 40), st.floats(0, 1))
def test_the_interval_holds_the_share_and_fewer_decks_never_make_it_narrower(present, decks, line):
    share, low, high, why_not = share_above(Model(present, [], decks), line)
    assert not why_not
    assert 0 <= low <= share + 1e-9
    assert share <= high + 1e-9 <= 1 + 2e-9
    fewer = share_above(Model(present, [], max(1, decks // 2)), line)
    assert fewer[1] <= low + 1e-9
    assert fewer[2] >= high - 1e-9


def test_the_interval_holds_the_truth_in_nineteen_of_twenty_where_photos_of_a_deck_go_together():
    """A deck's photos all stand above the line or all below: an interval that counts photos is too narrow."""
    rng = np.random.default_rng()
    held = {"decks": 0, "photos": 0}
    for _ in range(300):
        above = np.repeat(rng.random(12) < 0.8, 4)
        present = np.where(above, 2.0, -2.0)
        for how, decks in (("decks", 12), ("photos", 48)):
            _, low, high, _ = share_above(Model(present, [], decks), 0.5)
            held[how] += low <= 0.8 <= high
    assert held["decks"] >= 300 * 0.9
    assert held["photos"] < held["decks"]


ORDERING = st.builds(
    Ordering,
    st.sampled_from(["D-1", "D-2"]),
    st.integers(0, 6),
    st.integers(0, 6),
    st.floats(0, 9),
    st.floats(0, 9),
    st.floats(0, 9),
    st.integers(0, 5),
)


@settings(deadline=None)
@given(ORDERING, ORDERING, st.integers(1, 3))
def test_a_lead_moves_a_deck_up_in_look_at_most_and_never_counts_in_danger(one, other, more):
    leading = dataclasses.replace(one, leads=one.leads + more)
    assert leading.key(DANGER) == one.key(DANGER)
    assert leading.key(LOOK) < one.key(LOOK)
    if one.key(LOOK) < other.key(LOOK):
        assert leading.key(LOOK) < other.key(LOOK)


def test_lines_are_kept_for_the_model_that_drew_them_and_may_be_deleted(library):
    assert lines_of(library) == {}
    keep_lines(library, "another", {"missing-hanger": LookLine("missing-hanger", 0.2, 3, 9, 0.4)})
    assert lines_of(library) == {}
    assert open_above(library) == {}
    assert leads_of(library) == {}
    (library.caches / "look-first.json").write_text("{")
    assert lines_of(library) == {}
