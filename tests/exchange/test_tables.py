"""CSV and Parquet carry facts, tiers and suggestions too; nothing private leaves with them unless asked."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from exchange_helpers import TAG, put_photo

from triage.exchange import export_library
from triage.exchange.tables import TABLES
from triage.label.files import read_csv_rows
from triage.label.rows import give_labels, store_rows
from triage.library import Library, queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.structure.telling import set_facts

MODEL = "ab" * 32
BOX = (0.5, 0.5, 0.25, 0.25)
PRIVATE = (
    "Planted Ann",
    "Planted Ben",
    "Planted Cy",
    "joist 4",
    "a private note",
    "behind the boiler",
    "springs under the owner",
    "the owner asked",
)


@pytest.fixture
def full(tmp_path: Path) -> Iterator[Library]:
    """A library with everything that a table can hold, said by people with names."""
    with Library.create(tmp_path / "library") as library:
        first, second = (put_photo(library, "D-1", name) for name in ("a.jpg", "b.jpg"))
        put_photo(library, "D-2", "c.jpg")
        give_labels(
            library,
            [(queries.find_photo(library, first), {TAG: "present"})],
            by="Planted Ann",
            place="joist 4",
            count=3,
            note="a private note",
        )
        set_facts(
            library,
            "D-1",
            {"joist_span_ft": "11 ft 6 in", "concealed_why": "behind the boiler"},
            by="Planted Ben",
        )
        library.say(
            "finding",
            {"id": "f" * 32, "deck": "D-1", "visit": None, "tier": "watch", "how": "seen", "photos": []},
            by="Planted Ann",
            private={"text": "springs under the owner"},
        )
        library.say(
            "tier",
            {"deck": "D-2", "visit": None, "tier": "watch"},
            by="Planted Cy",
            private={"why": "the owner asked"},
        )
        library.say("trained", {"model": MODEL, "tags": {}}, by="Planted Ann")
        keep_suggestions(library, [Suggestion(second, TAG, MODEL, 1.25, 0.75, "likely", (BOX,))])
        yield library


@pytest.fixture
def promised(full: Library, monkeypatch: pytest.MonkeyPatch) -> Library:
    """The same, with a model whose files need not be there."""
    for place in ("triage.exchange.content", "triage.assess.evidence"):
        monkeypatch.setattr(f"{place}.promise_words", lambda _library: {TAG: "too-few"})
    return full


def test_facts_tiers_and_suggestions_are_tables(promised: Library, tmp_path: Path) -> None:
    export_library(promised, tmp_path / "out", "csv")
    tables = {name: pd.read_csv(tmp_path / "out" / f"{name}.csv") for name in TABLES}
    facts = tables["facts"].set_index("key")
    assert facts.loc["joist_span_ft", ["number", "unit"]].tolist() == [11.5, "ft"]
    (suggestion,) = tables["suggestions"].itertuples()
    assert (suggestion.deck, suggestion.probability, suggestion.promise) == ("D-1", 0.75, "too-few")
    decks = tables["decks"].set_index("deck")
    assert decks.loc["D-2", "tier_by_person"] == "watch"
    assert pd.isna(decks.loc["D-2", "tier"])  # not enough seen to say, and no word in its place
    assert {"D-1"} == set(tables["concerns"].deck)
    assert {"D-1", "D-2"} == set(tables["coverage"].deck)
    for name, table in tables.items():
        rows = tables["dictionary"]
        assert list(table.columns) == list(rows[rows.table == name].column)


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_names_and_free_text_stay_here_unless_asked_for(promised: Library, tmp_path: Path, kind: str) -> None:
    def said(**how: bool) -> str:
        folder = tmp_path / "-".join(["out", *how])
        export_library(promised, folder, kind, **how)
        if kind == "csv":
            return "".join(file.read_text() for file in folder.glob("*.csv"))
        return "".join(repr(pd.read_parquet(file).to_dict("list")) for file in folder.glob("*.parquet"))

    names, texts = PRIVATE[:3], PRIVATE[3:]
    plain = said()
    assert [word for word in PRIVATE if word in plain] == []
    with_text = said(with_text=True)
    assert [word for word in names if word in with_text] == []
    assert [word for word in texts if word not in with_text] == []
    assert [word for word in PRIVATE if word not in said(pseudonyms=False)] == []


def test_parquet_times_are_timestamps_with_units_beside(promised: Library, tmp_path: Path) -> None:
    arrow = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    export_library(promised, tmp_path / "out", "parquet")
    for name in ("labels", "facts"):
        table = parquet.read_table(tmp_path / "out" / f"{name}.parquet")
        assert table.schema.field("at").type == arrow.timestamp("us", tz="UTC")
        assert table.schema.field("at_local").type == arrow.timestamp("us")
        assert table["at"].null_count == 0
    schema = parquet.read_schema(tmp_path / "out" / "photos.parquet")
    assert schema.field("taken_at").type == arrow.timestamp("us", tz="UTC")
    assert schema.field("width").metadata[b"unit"] == b"pixels"
    dictionary = pd.read_parquet(tmp_path / "out" / "dictionary.parquet")
    for name in TABLES:
        columns = list(pd.read_parquet(tmp_path / "out" / f"{name}.parquet").columns)
        assert columns == list(dictionary[dictionary.table == name].column)


def test_both_forms_hold_the_same_values(promised: Library, tmp_path: Path) -> None:
    export_library(promised, tmp_path / "c", "csv")
    export_library(promised, tmp_path / "p", "parquet")
    for name in TABLES:
        if name == "dictionary":
            continue
        with (tmp_path / "c" / f"{name}.csv").open(newline="") as file:
            rows = list(csv.DictReader(file))
        frame = pd.read_parquet(tmp_path / "p" / f"{name}.parquet")
        assert len(frame) == len(rows)
        for column in frame.columns:
            if column.endswith("_local"):
                continue
            for one, row in zip(frame[column], rows, strict=True):
                _same(one, row[column])


def _same(value: object, text: str) -> None:
    if pd.isna(value):
        assert text == ""
    elif isinstance(value, pd.Timestamp):
        assert pd.Timestamp(text) == value
    elif isinstance(value, bool | np.bool_):
        assert text == str(value).lower()
    elif isinstance(value, float):
        assert float(text) == value
    else:
        assert text.removeprefix("'") == str(value)


def test_a_csv_file_of_labels_read_back_gives_the_same_labels(full: Library, tmp_path: Path) -> None:
    export_library(full, tmp_path / "out", "csv", pseudonyms=False)
    with Library.create(tmp_path / "other") as other:
        for deck, name in (("D-1", "a.jpg"), ("D-1", "b.jpg"), ("D-2", "c.jpg")):
            put_photo(other, deck, name)
        rows, aside = read_csv_rows(tmp_path / "out" / "labels.csv")
        assert aside == []
        assert store_rows(other, rows, aside, by="reader").new == 1
        assert [replace(one, event="") for one in queries.labels(other)] == [
            replace(one, event="") for one in queries.labels(full)
        ]


def test_a_damaged_model_keeps_nothing_but_the_assessment_back(full: Library, tmp_path: Path) -> None:
    done = export_library(full, tmp_path / "out", "csv")
    ((what, why),) = done.set_aside
    assert "decks, concerns and coverage" in what
    assert why
    assert len(pd.read_csv(tmp_path / "out" / "labels.csv")) == 1
    assert len(pd.read_csv(tmp_path / "out" / "suggestions.csv")) == 1
    assert len(pd.read_csv(tmp_path / "out" / "decks.csv")) == 0
