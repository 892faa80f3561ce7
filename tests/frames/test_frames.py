"""The documented DataFrames: their columns, dtypes and units are what the docstrings and `TABLES` say."""

from __future__ import annotations

import pandas as pd
import pytest

from triage import frames
from triage.frames.typed import typed_frame
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.structure.telling import set_facts

MODEL = "ab" * 32


@pytest.fixture
def told(library: Library) -> Library:
    """Two decks with labels, facts, and a finding."""
    first = queries.photos(library, "D-17")[0]
    give_labels(library, [(first, {"missing-hanger": "present"})], by="ann", place="joist 3", count=2)
    give_labels(library, [(first, {"missing-hanger": "absent"})], by="ben", boxes=())
    set_facts(library, "D-17", {"joist_span_ft": "11 ft 6 in", "ledger_on": "unknown"}, by="ann")
    library.say(
        "finding",
        {"id": "f" * 32, "deck": "D-17", "visit": "2026-05-04", "tier": "watch", "how": "seen", "photos": []},
        by="ann",
        private={"text": "sags when walked on"},
    )
    return library


@pytest.fixture
def judged(told: Library, monkeypatch: pytest.MonkeyPatch) -> Library:
    """The same with a suggestion of a model whose promise was withdrawn."""
    monkeypatch.setattr("triage.frames.of_library.promises_of", lambda _: {"missing-hanger": "withdrawn"})
    told.say("trained", {"model": MODEL, "tags": {}}, by="ann")
    box = (0.1, 0.2, 0.3, 0.4)
    sha = queries.photos(told, "D-17")[1].sha
    keep_suggestions(told, [Suggestion(sha, "missing-hanger", MODEL, 1.5, 0.75, "unlikely", (box,))])
    return told


@pytest.mark.parametrize("name", list(frames.TABLES))
def test_a_frame_has_the_columns_dtypes_and_units_that_its_docstring_says(
    request: pytest.FixtureRequest, name: str
) -> None:
    function = getattr(frames, name)
    library = request.getfixturevalue("judged" if name == "suggestions" else "told")
    frame: pd.DataFrame = function(library)
    columns = frames.typed_columns(frames.TABLES[name])
    assert len(frame)
    assert {column: str(dtype) for column, dtype in frame.dtypes.items()} == {
        one.name: str(pd.Series([], dtype=one.dtype).dtype) for one in columns
    }
    documented = [line.strip() for line in function.__doc__.splitlines() if " : " in line]
    assert documented == [
        f"{one.name} : {one.dtype}" + (f", {one.unit}" if one.unit else "") for one in columns
    ]


def test_what_the_library_holds_is_in_the_frames(told: Library) -> None:
    labels = frames.labels(told)
    assert len(labels) == len(queries.labels(told)) == 2
    assert labels["count"].max() == 2
    assert labels["at"].notna().all()
    facts = frames.facts(told).set_index("key")
    assert facts.loc["joist_span_ft", ["number", "unit", "value"]].tolist() == [11.5, "ft", "11.5"]
    assert facts.loc["ledger_on", "value"] == "unknown"
    assert pd.isna(facts.loc["ledger_on", "number"])
    decks = frames.decks(told)
    assert decks.photos.sum() == 6
    assert decks.tier.isna().any()  # a deck of which too little is known has no tier, never a good one
    concerns = frames.concerns(told)
    assert "sags when walked on" in set(concerns.finding.dropna())
    assert concerns.loc[concerns.finding.notna(), "concluded"].isna().all()


def test_a_suggestion_says_whether_its_promise_holds(judged: Library) -> None:
    (one,) = frames.suggestions(judged).itertuples()
    assert (one.deck, one.probability, one.box) == ("D-17", 0.75, "0.1,0.2,0.3,0.4")
    assert (one.pile, one.promise) == ("unlikely", "withdrawn")


def test_a_time_is_in_utc_only_where_its_zone_is_known() -> None:
    column = frames.Column("at", "time", "", "when")
    texts = ["2026-05-04T10:00:00-04:00", "2026-05-04T10:00:00", "yesterday", None]
    frame = typed_frame([column], [[text] for text in texts])
    assert frame["at"].tolist()[0] == pd.Timestamp("2026-05-04T14:00:00Z")
    assert frame["at"].isna().tolist() == [False, True, True, True]
    assert frame["at_local"].tolist()[:2] == [pd.Timestamp("2026-05-04T10:00:00")] * 2
    assert frame["at_local"].isna().tolist() == [False, False, True, True]


def test_a_library_without_words_gives_frames_of_the_same_shape(tmp_path) -> None:
    with Library.create(tmp_path / "empty") as empty:
        for name, columns in frames.TABLES.items():
            frame = getattr(frames, name)(empty)
            assert len(frame) == 0
            assert list(frame.columns) == [one.name for one in frames.typed_columns(columns)]
            assert list(map(str, frame.dtypes)) == [
                str(pd.Series([], dtype=one.dtype).dtype) for one in frames.typed_columns(columns)
            ]
