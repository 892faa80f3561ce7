"""In a large library only what comes next is read; what is asked is the same."""

import random
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.domain.reviewing import is_reviewed
from triage.errors import BadInput
from triage.exchange import merge_libraries
from triage.ingest.moving import forget, move
from triage.label import window
from triage.label.order import questions
from triage.label.rows import give_labels, settle
from triage.library import EventDraft, Library, queries
from triage.library.queries import statement_queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions


@contextmanager
def new_library(path):
    """Six decks of four photos."""
    with Library.create(path) as made:
        for deck in range(6):
            said = []
            for place in range(4):
                sha = f"{deck}{place}".zfill(64)
                photo = {
                    "sha": sha,
                    "bytes": 1,
                    "width": 2,
                    "height": 3,
                    "orientation": 1,
                    "suffix": ".jpg",
                    "quality": {},
                }
                where = {"sha": sha, "deck": f"D-{deck}", "visit": None, "name": f"{place}.jpg"}
                said += [EventDraft("photo-added", photo, "ann"), EventDraft("placed", where, "ann")]
            made.say_many(said)
        yield made


@pytest.fixture
def lib(tmp_path):
    with new_library(tmp_path / "lib") as made:
        yield made


def asked(lib, by):
    return [(one.photo.path_name, one.tag) for one in questions(lib, by=by)]


def test_a_new_person_is_asked_the_same_as_in_a_small_library(lib, monkeypatch):
    whole = asked(lib, "ben")
    monkeypatch.setattr(window, "LARGE", 0)
    assert asked(lib, "ben") == whole
    assert len(whole) == 6 * 4 * 5


def test_only_as_many_decks_as_needed_are_read(lib, monkeypatch):
    monkeypatch.setattr(window, "LARGE", 0)
    assert window.next_decks(lib, "ben", ["missing-hanger"], at_once=5) == ["D-0", "D-1"]


def test_it_goes_on_where_this_person_was_and_comes_round(lib, monkeypatch):
    for photo in queries.photos(lib, "D-3")[:2] + queries.photos(lib, "D-4"):
        give_labels(lib, [(photo, {"missing-hanger": "absent"})], by="ben")
    give_labels(lib, [(queries.photos(lib, "D-1")[0], {"missing-hanger": "absent"})], by="ann")
    monkeypatch.setattr(window, "LARGE", 0)
    found = window.next_decks(lib, "ben", ["missing-hanger"])
    assert found == ["D-5", "D-0", "D-1", "D-2", "D-3"]  # D-4 is done
    everything = {(one.photo.sha, one.tag) for one in questions(lib, by="ben", tags=["missing-hanger"])}
    assert len(everything) == 6 * 4 - 6


@pytest.fixture
def suggested(lib):
    """Every photo has a suggestion for two tags, each of another probability; some are answered."""
    model = "a" * 64
    lib.say("trained", {"model": model, "tags": {}}, by="ann")
    draw = random.Random(4)
    tags = ("missing-hanger", "rusted-connector")
    keep_suggestions(
        lib,
        [
            Suggestion(photo.sha, tag, model, 0.1, draw.random(), "unsure")
            for photo in queries.photos(lib)
            for tag in tags
        ],
    )
    for number, photo in enumerate(queries.photos(lib)[:9]):
        give_labels(lib, [(photo, {tags[number % 2]: "absent"})], by="ann")
    move(lib, queries.photos(lib, "D-5")[:1], "D-0", by="ann", visit="2026-05-04")
    forget(lib, queries.photos(lib, "D-5")[:1], by="ann")
    return lib


@pytest.mark.parametrize("order", ["dangerous", "doubtful"])
def test_the_machines_order_is_the_same_found_by_index(suggested, monkeypatch, order):
    def run(**words):
        return [
            (one.photo.path_name, one.tag, one.asked_by) for one in questions(suggested, by="ben", **words)
        ]

    whole, one_tag = run(order=order), run(order=order, tags=["rusted-connector"])
    assert len(whole) == 2 * 23 - 9
    monkeypatch.setattr(window, "LARGE", 0)
    assert run(order=order) == whole
    assert run(order=order, tags=["rusted-connector"]) == one_tag
    first = window.next_suggested(suggested, ["missing-hanger", "rusted-connector"], order, at_once=5)
    found = [(photo.path_name, row.tag, order) for row, photo in first]
    if order == "doubtful":
        assert found == whole[:5]
    else:  # the likeliest photos, each with all that is open on it
        assert set(whole[:5]) <= set(found)
        of_photo = {one[0] for one in found}
        assert {one for one in whole if one[0] in of_photo} == set(found)


def test_a_small_library_is_read_whole(lib):
    assert window.next_decks(lib, "ben", ["missing-hanger"]) is None


TAGS = ("missing-hanger", "rusted-connector", "debris-at-flashing")
ACT = st.tuples(
    st.sampled_from(["present", "absent", "unclear", "undo", "move", "forget"]),
    st.integers(0, 23),
    st.sampled_from(TAGS),
    st.sampled_from(["ann", "ben"]),
)


def do(lib, act):
    what, number, tag, by = act
    photos = queries.photos(lib)
    photo = photos[number % len(photos)]
    if what == "undo":
        with suppress(BadInput):  # there may be nothing to undo
            lib.undo(by)
    elif what == "move":
        move(lib, [photo], f"D-{number % 6}", by=by, visit=f"2026-05-{number + 1:02}")
    elif what == "forget":
        forget(lib, [photo], by=by)
    else:
        give_labels(lib, [(photo, {tag: what})], by=by)


def left_by_the_rule(lib, deck, by):
    """Questions of a deck that one person's own answers leave open, by `domain.reviewing`."""
    own = {(one.photo, one.tag): one.value for one in queries.labels(lib, deck=deck) if one.by == by}
    answers = [own.get((photo.sha, tag)) for photo in queries.photos(lib, deck) for tag in TAGS]
    return sum(not is_reviewed(answer) for answer in answers)


def disagreements(lib, count):
    """Decks and people for whom a count of open questions is another than the rule's."""
    decks = [f"D-{number}" for number in range(6)]
    return [
        (deck, by)
        for deck in decks
        for by in ("ann", "ben")
        if count(lib, deck, queries.refs_of(lib, by), TAGS) != left_by_the_rule(lib, deck, by)
    ]


def only_clear_answers(lib, deck, refs, tags):
    """A broken count: 'cannot tell' is taken for no answer."""
    unclear = [one for one in queries.labels(lib, deck=deck) if one.value == "unclear" and one.tag in tags]
    people = {name for name in ("ann", "ben") if queries.refs_of(lib, name) == refs}
    return queries.unanswered_by(lib, deck, refs, tags) + sum(one.by in people for one in unclear)


@settings(max_examples=20, deadline=None)
@given(st.lists(ACT, min_size=1, max_size=8))
def test_the_database_counts_what_a_person_left_open_by_the_one_rule(acts):
    with TemporaryDirectory() as folder, new_library(Path(folder) / "lib") as lib:
        for act in acts:
            do(lib, act)
        assert disagreements(lib, queries.unanswered_by) == []


def test_a_count_that_takes_cannot_tell_for_no_answer_is_caught(lib):
    do(lib, ("unclear", 3, TAGS[0], "ann"))
    assert disagreements(lib, queries.unanswered_by) == []
    assert disagreements(lib, only_clear_answers) == [("D-0", "ann")]


def test_a_person_of_two_merged_libraries_is_one(lib, tmp_path):
    with new_library(tmp_path / "other") as other:
        do(lib, ("absent", 0, TAGS[0], "ann"))
        do(other, ("present", 0, TAGS[0], "ann"))
        do(other, ("absent", 1, TAGS[1], "ann"))
        merge_libraries(lib, [other.path])
    assert len(queries.refs_of(lib, "ann")) == 2
    assert disagreements(lib, queries.unanswered_by) == []


def settled_everywhere(lib):
    """A dispute on the first photo of each deck, settled; on the second one, left open."""
    for deck in queries.decks(lib):
        for photo in queries.photos(lib, deck)[:2]:
            for by, value in (("ann", "present"), ("ben", "absent")):
                give_labels(lib, [(photo, {TAGS[0]: value})], by=by)
        settle(lib, queries.photos(lib, deck)[0], TAGS[0], "absent", why="looked again", by="cy")


def test_one_decks_words_are_those_of_the_library_and_read_its_own_settlements_only(lib, monkeypatch):
    settled_everywhere(lib)
    everything = queries.words(lib)
    assert sum(word.settled for word in everything.values()) == 6
    read = []
    original = statement_queries.with_texts
    monkeypatch.setattr(
        statement_queries, "with_texts", lambda *given: read.append(given) or original(*given)
    )
    for deck in queries.decks(lib):
        read.clear()
        shas = {photo.sha for photo in queries.photos(lib, deck)}
        assert queries.words(lib, deck) == {key: word for key, word in everything.items() if key[0] in shas}
        assert len(read) == 1, "a deck's words cost what the deck holds, not what the library holds"
    assert queries.words(lib, tag=TAGS[0]) == everything
    assert queries.words(lib, tag=TAGS[1]) == {}
