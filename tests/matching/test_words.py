"""Place words of two photos: one place, two, or not told."""

import pytest

from triage.matching.words import ANOTHER, SAME, UNKNOWN, counted, told


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        ("joist 4 of 14 from the left, facing the house", ("joist", {4})),
        ("Joists 10 to 11 of 13 from the left", ("joist", {10, 11})),
        ("joist 4 of 14 from the right", ("joist", {11})),
        ("post 2", ("post", {2})),
        ("post 2 from the right", None),
        ("left end of the ledger", None),
    ],
)
def test_what_a_place_names(words, meant):
    assert counted(words) == (meant and (meant[0], frozenset(meant[1])))


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (["Left end."], ["left end"], SAME),
        (["joist 4 of 14 from the left"], ["joist 11 of 14 from the right, facing the house"], SAME),
        (["joist 4 of 14"], ["joists 3 to 5 of 14 from the left"], SAME),
        (["joist 4 of 14"], ["joist 5 of 14"], ANOTHER),
        (["joist 4 of 14"], ["post 4 of 5"], UNKNOWN),
        (["joist 4 of 14"], [], UNKNOWN),
        ([""], [""], UNKNOWN),
        (["left end"], ["right end"], UNKNOWN),
    ],
)
def test_two_photos_places(before, after, expected):
    assert told(before, after) == expected
    assert told(after, before) == expected


def test_a_run_of_numbers_has_an_end():
    assert len(counted("joists 1 to 999999999")[1]) == 100
