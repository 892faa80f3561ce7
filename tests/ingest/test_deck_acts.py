"""Splitting, joining, renaming decks and setting a visit's day: one act each, undone as a whole."""

from __future__ import annotations

import pytest

from triage.assess.acts import set_tier
from triage.assess.said import add_finding, set_private
from triage.errors import BadInput
from triage.ingest.deck_acts import join, rename, set_visit, split_at, split_by_walk, split_off
from triage.label.rows import give_labels
from triage.library import queries
from triage.structure.telling import set_facts


def state(library):
    """Return everything that a person can see of the decks."""
    decks = queries.decks(library)
    return {
        deck: (
            [(one.sha, one.visit, one.name) for one in queries.photos(library, deck)],
            {key: (fact.visit, fact.value) for key, fact in queries.facts(library, deck).items()},
            [(one.text, one.visit, one.photos) for one in queries.findings(library, deck)],
            getattr(queries.person_tier(library, deck), "tier", None),
            queries.deck_private(library, deck),
        )
        for deck in decks
    }


@pytest.fixture
def told(library):
    """A library with labels, a fact, a finding, a tier and an address at D-17."""
    first = queries.find_photo(library, "D-17/IMG_0410.jpg")
    give_labels(library, [(first, {"missing-hanger": "present"})], by="ben")
    set_facts(library, "D-17", {"joist_span_ft": 9.0}, by="ben")
    add_finding(library, "D-17", tier="stop-use", text="it sways", by="ben")
    add_finding(library, "D-17", tier="watch", text="soft board", by="ben", photos=[first])
    set_tier(library, "D-17", "repair-before-use", why="loose rail", by="ben")
    set_private(library, "D-17", {"address": "12 Invented Street"}, by="ben")
    return library


def rebuilt(library):
    """The state, the same after every event was projected again."""
    before = state(library)
    library.rebuild()
    assert state(library) == before
    return before


def test_a_renamed_deck_keeps_all_that_was_said_and_undo_brings_the_name_back(told):
    before = state(told)
    act = rename(told, "D-17", "17-back", by="ann")
    assert len(act.photos) == 3
    after = rebuilt(told)
    assert after["17-back"] == before["D-17"]
    assert set(after) == {"17-back", "D-18"}
    told.undo("ann")
    assert rebuilt(told) == before


def test_a_name_that_is_taken_or_a_deck_that_is_not_there_is_refused(told):
    with pytest.raises(BadInput, match="Deck D-18 already exists"):
        rename(told, "D-17", "D-18", by="ann")
    with pytest.raises(BadInput, match="There is no deck 'D-99'"):
        rename(told, "D-99", "D-98", by="ann")
    with pytest.raises(BadInput, match="cannot be a deck's name"):
        rename(told, "D-17", "unsorted", by="ann")


def test_joined_decks_have_the_photos_and_words_of_both(told):
    before = state(told)
    join(told, "D-18", "D-17", by="ann")
    after = rebuilt(told)
    assert set(after) == {"D-18"}
    photos, facts, findings, tier, private = after["D-18"]
    assert len({name for _, _, name in photos}) == 6
    assert facts["joist_span_ft"][1] == 9.0
    assert {text for text, _, _ in findings} == {"it sways", "soft board"}
    assert tier == "repair-before-use"
    assert private == {"address": "12 Invented Street"}
    told.undo("ann")
    assert rebuilt(told) == before


def test_decks_that_disagree_are_not_joined(told):
    set_facts(told, "D-18", {"joist_span_ft": 12.0}, by="ben")
    with pytest.raises(BadInput, match="disagree: joist_span_ft is 12 at one and 9 at the other"):
        join(told, "D-18", "D-17", by="ann")
    assert set(queries.decks(told)) == {"D-17", "D-18"}


def test_a_split_takes_labels_and_the_findings_of_its_photos_along(told):
    before = state(told)
    first = queries.find_photo(told, "D-17/IMG_0410.jpg")
    act = split_off(told, "D-17", [first], "D-19", by="ann")
    assert (act.decks, act.statements) == (("D-17", "D-19"), 1)
    after = rebuilt(told)
    assert [text for text, _, _ in after["D-19"][2]] == ["soft board"]
    assert [text for text, _, _ in after["D-17"][2]] == ["it sways"]
    assert after["D-17"][3] == "repair-before-use"
    assert [row.value for row in queries.labels(told, deck="D-19")] == ["present"]
    told.undo("ann")
    assert rebuilt(told) == before


def test_a_split_by_time_takes_the_later_photos(told):
    split_at(told, "D-17", queries.find_photo(told, "D-17/IMG_0411.jpg"), "D-19", by="ann")
    assert [one.name for one in queries.photos(told, "D-19")] == ["IMG_0411.jpg", "IMG_0412.jpg"]
    with pytest.raises(BadInput, match="is not a photo of deck"):
        split_at(told, "D-17", queries.find_photo(told, "D-19/IMG_0411.jpg"), "D-20", by="ann")
    with pytest.raises(BadInput, match="No photo would stay"):
        split_off(told, "D-17", queries.photos(told, "D-17"), "D-20", by="ann")


def test_time_and_place_that_divide_nothing_say_so(told):
    with pytest.raises(BadInput, match="do not separate deck D-17"):
        split_by_walk(told, "D-17", by="ann")


def test_a_visit_gets_another_day_with_its_facts(told):
    before = state(told)
    set_facts(told, "D-17", {"joist_size": "2x8"}, by="ben", visit="2026-05-04")
    with_fact = state(told)
    set_visit(told, "D-17", "2026-05-05", before="2026-05-04", by="ann")
    after = rebuilt(told)
    assert {visit for _, visit, _ in after["D-17"][0]} == {"2026-05-05"}
    assert after["D-17"][1]["joist_size"] == ("2026-05-05", "2x8")
    assert queries.visits(told, "D-17") == ["2026-05-05"]
    told.undo("ann")
    assert rebuilt(told) == with_fact != before
    with pytest.raises(BadInput, match="has nothing of 2027-01-01"):
        set_visit(told, "D-17", "2027-01-01", before="2027-01-01", by="ann")


def test_changes_on_top_of_each_other_are_undone_in_any_order(told):
    before = state(told)
    rename(told, "D-17", "B", by="ann")
    rename(told, "B", "C", by="cy")
    told.undo("ann")
    carried = rebuilt(told)
    assert set(carried) >= {"D-18"}
    told.undo("cy")
    assert rebuilt(told) == before


def test_undo_by_the_one_who_spoke_takes_back_the_word_and_not_the_name(told):
    rename(told, "D-17", "17-back", by="ann")
    told.undo("ben")
    assert "17-back" in queries.decks(told)
    assert queries.deck_private(told, "17-back") == {}
