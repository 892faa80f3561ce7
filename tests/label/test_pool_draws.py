"""A machine's order begins with a fair draw: in the log first, asked first, named in the status."""

from __future__ import annotations

import hashlib
import re

import pytest

from triage.label.counting import counted_in_library
from triage.label.order import questions
from triage.label.pool_draws import DRAWN_SHARE, begin_pools, drawn_decks, drawn_words
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.library.look_alikes import deck_groups
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.train.of_library import training_labels

TAG = "rusted-connector"


@pytest.fixture
def twelve(tmp_path) -> Library:
    """Twelve decks with two photos each; every photo has a suggestion."""
    with Library.create(tmp_path / "twelve") as library:
        library.say("trained", {"model": "m", "tags": {}}, by="ann")
        for number in range(24):
            sha = hashlib.sha256(str(number).encode()).hexdigest()
            facts = {"bytes": 1, "width": 40, "height": 30, "orientation": 1, "suffix": ".jpg", "quality": {}}
            library.say("photo-added", {"sha": sha, **facts}, by="ann")
            library.say(
                "placed", {"sha": sha, "deck": f"D-{number // 2:02d}", "name": f"{number}.jpg"}, by="ann"
            )
            keep_suggestions(library, [Suggestion(sha, TAG, "m", 0.0, number / 24, "unsure")])
        yield library


def test_the_draw_is_recorded_asked_first_and_named(twelve: Library) -> None:
    asked = questions(twelve, by="ann", tags=[TAG], order="dangerous")
    (event,) = twelve.events("pool-begun")
    drawn = event.payload["drawn"]
    assert len(drawn) == max(3, round(DRAWN_SHARE * 12))
    seed = event.payload["seed"]
    by_ticket = sorted(
        queries.decks(twelve), key=lambda deck: hashlib.sha256(f"{seed}:{deck}".encode()).hexdigest()
    )
    assert drawn == by_ticket[:3]
    assert [one.asked_by for one in asked[:6]] == ["random"] * 6
    assert {one.photo.deck for one in asked[:6]} == set(drawn)
    assert {one.asked_by for one in asked[6:]} == {"dangerous"}
    assert len({(one.photo.sha, one.tag) for one in asked}) == len(asked) == 24
    assert drawn_decks(twelve, [TAG]) == {TAG: sorted(drawn)}
    assert re.search(f"{sorted(drawn)[0]}.*drawn at random", drawn_words(twelve, [TAG])[0])


def test_a_pool_begins_once_and_a_new_batch_begins_another(twelve: Library) -> None:
    begin_pools(twelve, [TAG], "ann")
    assert begin_pools(twelve, [TAG], "ann") == {}
    questions(twelve, by="ann", tags=[TAG], order="doubtful")
    assert len(list(twelve.events("pool-begun"))) == 1


def test_answers_end_the_asking(twelve: Library) -> None:
    asked = questions(twelve, by="ann", tags=[TAG], order="dangerous")
    for one in asked[:6]:
        give_labels(twelve, [(one.photo, {TAG: "absent"})], by="ann", asked_by=one.asked_by)
    assert drawn_decks(twelve, [TAG]) == {}
    assert {one.asked_by for one in questions(twelve, by="ann", tags=[TAG], order="dangerous")} == {
        "dangerous"
    }


def test_in_deck_order_nothing_is_drawn(twelve: Library) -> None:
    questions(twelve, by="ann", tags=[TAG], order="deck")
    assert list(twelve.events("pool-begun")) == []
    assert training_labels(twelve) == []


@pytest.mark.parametrize(
    ("asked_by", "saw_machine"),
    [("doubtful", False), ("dangerous", False), ("learning", False), ("like", False), ("deck", True)],
)
def test_what_the_machine_chose_begins_a_pool_and_counts_for_nothing_by_itself(
    twelve: Library, asked_by: str, saw_machine: bool
) -> None:
    """Two decks answered in deck order count; two that the machine chose do not, nor do those left over."""
    photos = {deck: queries.photos(twelve, deck) for deck in queries.decks(twelve)}
    for deck in ("D-00", "D-01"):
        for photo in photos[deck]:
            give_labels(twelve, [(photo, {TAG: "present"})], by="ann", asked_by="deck")
    for deck in ("D-02", "D-03"):
        for photo in photos[deck]:
            give_labels(
                twelve, [(photo, {TAG: "present"})], by="ann", asked_by=asked_by, saw_machine=saw_machine
            )
    for photo in photos["D-04"]:
        give_labels(twelve, [(photo, {TAG: "absent"})], by="ann", asked_by="deck")
    give_labels(twelve, [(photos["D-05"][0], {TAG: "absent"})], by="ann", asked_by="deck")
    found = counted_in_library(twelve, [TAG], deck_groups(twelve))[TAG]
    assert found.decks == {"D-00", "D-01"}


def test_more_like_this_in_the_terminal_begins_a_pool_with_its_draw(twelve: Library, monkeypatch) -> None:
    """The machine picks the look-alikes: the fair draw is on record before any of them is answered."""
    from triage.terminal.session import Session

    asked = questions(twelve, by="ann", tags=[TAG], order="deck")
    monkeypatch.setattr(
        "triage.terminal.session.near_photos", lambda _library, _photo, others, **_more: others
    )
    session = Session(twelve, "ann", asked)
    near = session.look_alikes()
    (begun,) = twelve.events("pool-begun")
    assert begun.payload["tag"] == TAG
    assert len(begun.payload["drawn"]) == 3
    session.spread("present", near[:2])
    session.look_alikes()
    assert len(list(twelve.events("pool-begun"))) == 1
    answered = {photo.deck for photo in near[:2]}
    waiting = set(drawn_decks(twelve, [TAG])[TAG])
    assert waiting <= set(begun.payload["drawn"])
    assert set(begun.payload["drawn"]) - waiting <= answered
