"""The rule for what people's answers come to."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.domain.reviewing import ANSWERS, is_reviewed, merge

answers = st.lists(st.sampled_from(ANSWERS), min_size=1, max_size=5)
piles = st.sampled_from([None, "likely", "unsure", "unlikely"])
promises = st.sampled_from([None, "holds", "too-few", "withdrawn"])


@given(answers, st.sampled_from(ANSWERS))
def test_one_more_answer_never_makes_it_milder(given_, more):
    assert ANSWERS.index(merge([*given_, more]).value) <= ANSWERS.index(merge(given_).value)


@given(answers)
def test_yes_and_no_side_by_side_are_a_dispute(given_):
    one = merge(given_)
    assert one.disputed == ({"present", "absent"} <= set(given_))
    assert not one.settled


@given(answers, st.sampled_from(ANSWERS), st.lists(st.sampled_from(ANSWERS), max_size=3))
def test_a_settlement_stands_until_somebody_answers_differently(given_, ruling, later):
    one = merge([*given_, *later], ruling, later)
    assert one.settled == all(value == ruling for value in later)
    assert not one.settled or (one.value, one.disputed) == (ruling, False)


@given(st.none() | st.sampled_from(ANSWERS), piles, promises)
def test_a_question_is_reviewed_by_an_answer_or_by_a_promise(answer, pile, promise):
    covered = pile == "unlikely" and promise == "holds"
    assert is_reviewed(answer, pile, promise) == (answer is not None or covered)


def test_no_answer_cannot_be_merged():
    with pytest.raises(ValueError, match="nobody"):
        merge([])
