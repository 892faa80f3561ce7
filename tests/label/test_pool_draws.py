"""A machine's order begins with a fair draw: in the log first, asked first, named in the status."""

from __future__ import annotations

import hashlib
import re

import pytest

from triage.label.order import questions
from triage.label.pool_draws import DRAWN_SHARE, begin_pools, drawn_decks, drawn_words
from triage.label.rows import give_labels
from triage.library import Library, queries
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
        give_labels(twelve, one.photo, {TAG: "absent"}, by="ann", asked_by=one.asked_by)
    assert drawn_decks(twelve, [TAG]) == {}
    assert {one.asked_by for one in questions(twelve, by="ann", tags=[TAG], order="dangerous")} == {
        "dangerous"
    }


def test_in_deck_order_nothing_is_drawn(twelve: Library) -> None:
    questions(twelve, by="ann", tags=[TAG], order="deck")
    assert list(twelve.events("pool-begun")) == []
    assert training_labels(twelve) == []
