"""In a large library only what comes next is read; what is asked is the same."""

import random

import pytest

from triage.ingest.moving import forget, move
from triage.label import window
from triage.label.order import questions
from triage.label.rows import give_labels
from triage.library import EventDraft, Library, queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions


@pytest.fixture
def lib(tmp_path):
    with Library.create(tmp_path / "lib") as made:
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
        give_labels(lib, photo, {"missing-hanger": "absent"}, by="ben")
    give_labels(lib, queries.photos(lib, "D-1")[0], {"missing-hanger": "absent"}, by="ann")
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
        give_labels(lib, photo, {tags[number % 2]: "absent"}, by="ann")
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
    assert [(photo.path_name, tag, order) for photo, tag in first] == whole[:5]


def test_a_small_library_is_read_whole(lib):
    assert window.next_decks(lib, "ben", ["missing-hanger"]) is None
