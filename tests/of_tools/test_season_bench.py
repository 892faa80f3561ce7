"""The season bench: its person, its counting, and that it fails whoever confirms blindly."""

from __future__ import annotations

import pytest

from tools.bench.season import MODEL, NO_MODEL, Told, goals, is_later, played, told_of
from tools.bench.season_person import MISSES, Season
from tools.bench.season_sets import Truth
from triage.library import queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions

HANGER, NAILS = "missing-hanger", "nail-only-ledger"
PARTS = ("shows-ledger", "shows-hanger")


@pytest.fixture
def truth(library):
    """Two decks: one with a missing hanger in its second photo, one with a nailed ledger in its last."""
    decks = {deck: tuple(photo.sha for photo in queries.photos(library, deck)) for deck in ("D-17", "D-18")}
    answers = {(sha, tag): "absent" for shas in decks.values() for sha in shas for tag in (HANGER, NAILS)}
    answers |= {(sha, tag): "present" for shas in decks.values() for sha in shas for tag in PARTS}
    answers[decks["D-17"][1], HANGER] = "present"
    answers[decks["D-18"][2], NAILS] = "present"
    path = library.path
    return Truth("small", decks, answers, path, (HANGER, NAILS), PARTS, (HANGER, NAILS))


@pytest.fixture
def spoken(truth, library):
    """The machine is right about parts and blind to defects."""
    library.say("trained", {"model": "m"}, by="ann")
    chance = {tag: 0.9 if tag in PARTS else 0.1 for _, tag in truth.answers}
    keep_suggestions(
        library, [Suggestion(sha, tag, "m", 0.0, chance[tag], "unsure") for sha, tag in truth.answers]
    )
    library.close()
    return truth


def steady(monkeypatch):
    """A person who makes no errors."""
    monkeypatch.setattr(Season, "_chance", lambda *_: 1.0)


def test_the_played_person_finds_every_defect_and_sheets_save_acts(spoken, monkeypatch):
    steady(monkeypatch)
    decks = list(spoken.decks)
    ways = {
        way: played(spoken, spoken.library, 0, decks, way) for way in (NO_MODEL, "model and parts", "blindly")
    }
    for way in (NO_MODEL, "model and parts"):
        assert ways[way].missed(decks) == (0, 2), way
        assert all(ways[way].found_at(spoken.defects, decks).values())
    assert ways["model and parts"].by_kind["sheet"] == len(PARTS)
    assert ways["model and parts"].acts < ways[NO_MODEL].acts
    assert ways["blindly"].missed(decks) == (2, 2)
    assert told_of(ways["blindly"], decks, ways[NO_MODEL]).later == 2


def test_the_person_errs_the_same_in_every_way_and_about_as_often_as_said(truth, library):
    one, other = Season(truth, library, 3), Season(truth, library, 3)
    chances = [one._chance(str(number), HANGER, "miss") for number in range(2_000)]
    assert chances == [other._chance(str(number), HANGER, "miss") for number in range(2_000)]
    assert sum(chance < MISSES for chance in chances) / 2_000 == pytest.approx(MISSES, abs=0.015)
    one.said["1", HANGER] = "absent"
    assert one._chance("1", HANGER, "miss") != chances[1], "a second look is another look"


@pytest.mark.parametrize(
    ("at", "was", "later"),
    [(5, 4, True), (4, 4, False), (None, 4, True), (None, None, False), (9, None, False)],
)
def test_later_than_without_the_model(at, was, later):
    assert is_later(at, was) is later


def test_one_later_deck_in_one_run_of_twenty_is_the_most_that_meets_the_goal():
    def run(later):
        told = Told(1.0, (1, 1, 1, 1), 1.0, 0.0, later, 5, {})
        return {"first": Told(4.0, (1, 1, 1, 1), 1.0, 0.0, 0, 5, {}), MODEL: told}

    goal = "runs with a deck found later than without the model"
    assert goals([run(3)] + [run(0)] * 19, MODEL)[goal][2]
    assert not goals([run(1), run(1)] + [run(0)] * 18, MODEL)[goal][2]
