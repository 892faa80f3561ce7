"""A deck answered by mouse as the bench of acts does it: nothing left open, nothing unlike the truth."""

from __future__ import annotations

import pytest

from tools.bench.page_acts import _runs, extrapolated, walk

pytestmark = pytest.mark.browser

MOST_ACTS = 45
"""A ceiling set by hand for deck-01 with its six photos: five core tags and all parts that are asked."""


def test_deck_is_answered_as_the_truth_says_with_few_acts(tmp_path):
    found = walk(tmp_path, ["deck-01"])
    assert found["wrong"] == []
    assert found["not_answered"] == 0
    assert found["core_answers"] == 5 * found["photos"] == 30
    assert found["acts_in_all"] <= MOST_ACTS, found["acts"]


def test_runs_of_chosen_photos():
    assert _runs([True, True, False, True]) == [(0, 1), (3, 3)]
    assert _runs([False, False]) == []


def test_acts_of_a_deck_and_of_a_photo_are_told_apart():
    """Decks of 5, 10 and 20 photos with 20 acts a deck and 2 a photo: 30 decks of 20 come to 1800."""
    told = extrapolated([(5, 30), (10, 40), (20, 60)], looks=0)["extrapolated"]
    assert "20.0 acts a deck, 2.00 a photo, 1800 acts" in told
    assert "3.0 s an act" in told
    assert "extrapolated, not tried" in told
