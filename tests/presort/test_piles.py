"""Piles and promises of a batch: the largest guard score decides, and an unlike batch withdraws."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from triage.library import Library
from triage.presort import of_library
from triage.presort.piles import HOLDS, WITHDRAWN, Standing, pile
from triage.train.types import Promise, TagModel

TAG = "rusted-connector"
PROMISE = Promise(0.05, True, 0.5, 20, 0)


def model(promise: Promise = PROMISE) -> Any:
    """A model of which only the promise is read."""
    found = object.__new__(TagModel)
    object.__setattr__(found, "promise", promise)
    object.__setattr__(found, "folds", {"D-1": 0, "D-2": 1})
    return found


@pytest.mark.parametrize(
    ("scores", "expected"),
    [
        ([0.1, 0.2, 0.4], "unlikely"),
        ([0.1, 0.2, 0.6], "unsure"),  # one model that has not seen the deck would find it
        ([0.6, 0.1, 0.1], "unsure"),
        ([0.5], "unsure"),
        ([], "unsure"),
        (None, "unsure"),
        (0.49, "unlikely"),
    ],
)
def test_the_largest_guard_score_decides(scores: Any, expected: str) -> None:
    assert pile(0.1, scores, model(), HOLDS) == expected
    assert pile(0.1, scores, model(), Standing(WITHDRAWN)) == "unsure"
    assert pile(0.1, scores, model(replace(PROMISE, holds=False)), HOLDS) == "unsure"
    assert pile(0.5, scores, model(), HOLDS) == "likely"


@pytest.fixture
def library(tmp_path):
    with Library.create(tmp_path / "library") as made:
        yield made


@pytest.mark.parametrize(
    ("chance", "standing"),
    [(0.2, HOLDS), (0.051, HOLDS), (0.05, WITHDRAWN), (0.001, WITHDRAWN), (None, HOLDS)],
)
def test_a_batch_unlike_the_training_decks_withdraws(library, monkeypatch, chance, standing) -> None:
    asked = []

    def p_value(_library: Library, decks: set[str], batch: list[str]) -> float | None:
        asked.append((decks, batch))
        return chance

    monkeypatch.setattr(of_library, "batch_p_value", p_value)
    found = of_library._standing(library, {TAG: model()}, ["ab" * 32])
    assert found[TAG].standing == standing
    assert asked == [({"D-1", "D-2"}, ["ab" * 32])]
    if standing == WITHDRAWN:
        assert "unlike the decks that the model was trained on" in found[TAG].why_not


def withdrawn(library: Library) -> Standing:
    return of_library.promise_standing(library, {TAG: model()})[TAG]


def test_an_audits_withdrawal_is_said_in_words_and_rests_on_none(library, monkeypatch) -> None:
    """However the sentence is worded, at the time or later, the promise stays withdrawn."""
    library.say("trained", {"model": "m", "tags": {}}, by="ann")
    library.say("audited", {"tag": TAG, "model": "m", "contradicts": True, "seed": "7"}, by="ann")
    said = withdrawn(library)
    assert said.standing == WITHDRAWN
    assert said.why_not.startswith("an audit of the unlikely pile contradicts it; ")
    monkeypatch.setattr(of_library, "AUDITED", "reworded")
    kept = {TAG: said.to_json()}
    library.say("presorted", {"model": "m", "standing": kept, "photos": 1}, by="ann")
    assert withdrawn(library).standing == WITHDRAWN
    monkeypatch.setattr(of_library, "batch_p_value", lambda *_: None)
    again = of_library._standing(library, {TAG: model()}, ["ab" * 32])
    assert again[TAG].standing == WITHDRAWN
    library.say("withdrawal-lifted", {"tag": TAG}, by="cy", private={"why": "one builder"})
    assert of_library._standing(library, {TAG: model()}, ["ab" * 32])[TAG].standing == HOLDS
