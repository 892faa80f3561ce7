"""The order `dangerous`: every photo once, urgent lists first, decks in turn, no deck put off."""

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.assess.rules import load_rule_book
from triage.assess.urgent import urgent_of
from triage.domain.vocabulary import load_vocabulary
from triage.label.giving_way import given_way
from triage.label.lists_first import look_order
from triage.label.order import Question
from triage.library import queries
from triage.library.look_lines import LookLine
from triage.presort.look_first import NOTHING
from triage.terminal.session import Session


@dataclasses.dataclass(frozen=True)
class Said:
    photo: str
    tag: str
    probability: float


@dataclasses.dataclass(frozen=True)
class Shot:
    sha: str
    deck: str


def key_of(one):
    return one.photo.sha, one.tag


TAGS, DECKS = "abc", ("D-1", "D-2", "D-3")
SAID = st.dictionaries(
    st.tuples(st.integers(0, 12), st.sampled_from(TAGS)), st.floats(0, 1, width=16), min_size=1, max_size=30
)
LINES = st.dictionaries(st.sampled_from(TAGS), st.floats(0, NOTHING, width=16))


def line(tag, probability):
    return LookLine(tag, probability, 0, 0, 0.0)


def deck_of(said):
    return {one.photo: DECKS[int(one.photo) % 3] for one in said}


def spoken(chances):
    return [Said(str(photo), tag, chance) for (photo, tag), chance in chances.items()]


def by_decks(said):
    """The photos deck by deck, the most expected of each deck first."""
    expected = {}
    for one in said:
        expected[one.photo] = expected.get(one.photo, 0.0) + one.probability
    return sorted(expected, key=lambda sha: (deck_of(said)[sha], -expected[sha]))


@settings(deadline=None)
@given(SAID, LINES, st.sets(st.sampled_from(TAGS)))
def test_every_photo_comes_once_and_the_urgent_lists_are_whole(chances, at, urgent):
    said, lines = spoken(chances), {tag: line(tag, chance) for tag, chance in at.items()}
    found = look_order(said, deck_of(said), lines, urgent)
    order = [*found.urgent, *found.rest]
    assert sorted(order) == sorted({one.photo for one in said})
    for one in said:
        counts = one.tag in (urgent or lines)
        if counts and one.tag in lines and one.probability >= lines[one.tag].probability:
            assert one.photo in found.urgent
        if one.tag in lines and one.probability >= lines[one.tag].probability:
            assert one.photo not in found.left, "when the lists end nothing of them is open"


@settings(deadline=None)
@given(SAID, LINES, st.sets(st.sampled_from(TAGS)))
def test_no_photo_is_put_off_to_more_than_twice_its_place_among_the_decks(chances, at, urgent):
    """However wrong the lists are. Without any list there is nothing that could be put off for one."""
    said, lines = spoken(chances), {tag: line(tag, chance) for tag, chance in at.items()}
    if not lines:
        return
    found = look_order(said, deck_of(said), lines, urgent)
    order = [*found.urgent, *found.rest]
    for place, photo in enumerate(by_decks(said), 1):
        assert order.index(photo) + 1 <= 2 * place - 1


def test_without_lines_the_likeliest_photo_comes_first():
    said = [Said("1", "a", 0.2), Said("2", "b", 0.9), Said("3", "a", 0.5)]
    assert look_order(said, deck_of(said), {}).rest == ("2", "3", "1")


def test_a_tag_whose_probabilities_are_all_low_is_not_left_until_last():
    usual = [Said(str(k), "usual", 0.9 - k / 100) for k in range(20)]
    said = [*usual, Said("30", "rare", 0.2)]
    lines = {"rare": line("rare", 0.15), "usual": line("usual", 0.3)}
    found = look_order(said, {one.photo: one.photo for one in said}, lines)
    assert found.urgent.index("30") <= 4
    assert look_order(said, {one.photo: one.photo for one in said}, {}).rest.index("30") == 20


def test_each_decks_first_photo_comes_before_any_decks_second():
    said = [Said("0", "a", 0.9), Said("3", "a", 0.8), Said("6", "a", 0.7), Said("1", "a", 0.6)]
    decks = {"0": "D-9", "3": "D-9", "6": "D-9", "1": "D-8"}
    assert look_order(said, decks, {"a": line("a", 0.5)}).urgent == ("1", "0", "3", "6")


@pytest.mark.parametrize(
    ("tag", "is_urgent"),
    [
        ("missing-hanger", True),
        ("nail-only-ledger", True),
        ("side-bolted-beam", True),
        ("rusted-connector", False),
        ("debris-at-flashing", False),
    ],
)
def test_urgent_is_what_forbids_gatherings_by_itself(tag, is_urgent):
    vocabulary = load_vocabulary()
    book = load_rule_book(None, vocabulary)
    assert urgent_of(book, [tag]) == ([tag] if is_urgent else [])


RUNS = st.lists(
    st.tuples(st.integers(0, 8), st.sampled_from(TAGS), st.booleans()),
    min_size=1,
    max_size=20,
    unique_by=lambda q: q[:2],
)


@settings(deadline=None)
@given(RUNS, st.data())
def test_giving_way_only_moves_questions(rows, data):
    """The same questions, each once; passed ones and other decks keep their order."""
    asked = [Question(Shot(str(n), DECKS[n % 3]), tag, "dangerous", urgent) for n, tag, urgent in rows]
    found = data.draw(st.sampled_from(asked))
    passed = data.draw(st.sets(st.sampled_from([key_of(one) for one in asked]))) | {key_of(found)}
    run, photos = given_way(asked, found, passed)
    before, after = [key_of(one) for one in asked], [key_of(one) for one in run]
    assert sorted(before) == sorted(after)
    moves = {
        key_of(one)
        for one in asked
        if one.urgent and one.photo.deck == found.photo.deck and one.photo.sha != found.photo.sha
    } - passed
    assert [key for key in before if key not in moves] == [key for key in after if key not in moves]
    assert photos == len({sha for sha, _ in moves})
    urgent = [place for place, one in enumerate(run) if one.urgent]
    assert all(after.index(key) > max(urgent, default=-1) for key in moves)
    assert given_way(run, found, passed) == (run, 0), "once"


def test_a_deck_that_is_found_gives_way_to_the_others(library):
    """One 'present' of an urgent tag: the deck's other urgent photos come behind the lists, none is lost."""
    tag = "missing-hanger"
    photos = queries.photos(library)
    asked = [
        Question(photo, tag, "dangerous", urgent=number < 5, listed=number < 5)
        for number, photo in enumerate(photos)
    ]
    run = Session(library, "ann", list(asked), urgent=[tag])
    assert [one.photo.deck for one in asked] == ["D-17"] * 3 + ["D-18"] * 3
    run.answer("absent")
    run.answer("present")
    assert run.put_off == 1
    assert [one.photo for one in run.asked] == [photos[place] for place in (0, 1, 3, 4, 2, 5)]
    assert run.question.photo == photos[3]
    assert run.urgent_photos() == 2
    assert run.listed_photos() == 3, "what gave way stays on the lists"
    run.answer("present")
    assert [one.photo for one in run.asked] == [photos[place] for place in (0, 1, 3, 4, 2, 5)][:3] + [
        photos[place] for place in (4, 2, 5)
    ]
    for _ in range(3):
        run.answer("absent")
    assert run.question is None
    assert len(queries.labels(library)) == 6
