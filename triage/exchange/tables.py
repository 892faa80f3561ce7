"""The library as tables: CSV and Parquet with one data dictionary for both.

The tables are those of `triage.frames`, with what only an export has (files, splits, positions). Names of
people are written as the export's pseudonyms, free text only where it was asked for.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from triage.errors import TriageError
from triage.exchange.content import Content
from triage.frames import rows
from triage.frames.columns import COVERAGE, DECKS, Column, typed_columns
from triage.frames.columns import TABLES as FRAMES
from triage.frames.typed import typed_frame
from triage.label.files import write_whole
from triage.tabular import csv_text

_OF_EXPORTS: dict[str, tuple[Column, ...]] = {
    "name": (Column("file", "text", "", "name of the picture below the export's folder photos (a JPEG)"),),
    "camera": (
        Column("split", "text", "", "part of the split by deck; empty without one"),
        Column("latitude", "number", "degrees", "position, only where it was asked for"),
        Column("longitude", "number", "degrees", "position, only where it was asked for"),
    ),
}
"""Columns of exported photos by the column that they follow."""
PHOTOS: tuple[Column, ...] = tuple(
    column for one in FRAMES["photos"] for column in (one, *_OF_EXPORTS.get(one.name, ()))
)
TAGS: tuple[Column, ...] = (
    Column("tag", "text", "", "name"),
    Column("kind", "text", "", "defect, or element (the photo shows that part well enough to judge it)"),
    Column("element", "text", "", "the part of the deck it belongs to"),
    Column("definition", "text", "", "what it means"),
)
DICTIONARY: tuple[Column, ...] = (
    Column("table", "text", "", "name of the table"),
    Column("column", "text", "", "name of the column"),
    Column("type", "text", "", "text, integer, number, true/false, or time"),
    Column("unit", "text", "", "unit or format"),
    Column("meaning", "text", "", "what it says"),
)
TABLES: dict[str, tuple[Column, ...]] = {
    "photos": PHOTOS,
    "labels": FRAMES["labels"],
    "words": FRAMES["words"],
    "tags": TAGS,
    "suggestions": FRAMES["suggestions"],
    "facts": FRAMES["facts"],
    "decks": DECKS,
    "concerns": FRAMES["concerns"],
    "coverage": COVERAGE,
    "dictionary": DICTIONARY,
}
_KINDS = {
    "string": "text",
    "Int64": "integer",
    "Float64": "number",
    "boolean": "true/false",
    "datetime64[us, UTC]": "time",
    "datetime64[us]": "time",
}


def rows_of(content: Content, table: str) -> Iterator[Sequence[Any]]:
    """Yield a table's rows in the order of its columns; what is missing, or private, is null."""
    deck_of = {photo.sha: photo.deck for photo in content.photos}
    makers: dict[str, Callable[[], Iterable[Sequence[Any]]]] = {
        "photos": lambda: _photos(content),
        "labels": lambda: rows.label_rows(content.labels, deck_of),
        "words": lambda: rows.word_rows(content.words),
        "tags": lambda: _tags(content),
        "suggestions": lambda: rows.suggestion_rows(content.suggestions, deck_of, content.promise),
        "facts": lambda: rows.fact_rows(content.facts),
        "decks": lambda: rows.deck_rows(content.summaries, Counter(deck_of.values())),
        "concerns": lambda: rows.concern_rows(content.summaries),
        "coverage": lambda: rows.coverage_rows(content.summaries),
        "dictionary": _dictionary,
    }
    found = makers[table]()
    if table == "labels":  # cleaned when they were gathered, for all formats
        yield from found
        return
    for row in found:
        yield [_cleaned(content, column, value) for column, value in zip(TABLES[table], row, strict=True)]


def _cleaned(content: Content, column: Column, value: Any) -> Any:
    if column.free_text and not content.texts:
        return None
    return content.alias[value] if column.person and value is not None else value


def _photos(content: Content) -> Iterator[list[Any]]:
    for one, row in zip(content.photos, rows.photo_rows(content.photos), strict=True):
        cells = dict(zip((column.name for column in FRAMES["photos"]), row, strict=True))
        latitude, longitude = content.positions.get(one.sha, (None, None))
        more = {
            "file": content.names[one.sha],
            "split": content.split_of(one) or None,
            "latitude": latitude,
            "longitude": longitude,
        }
        yield [{**cells, **more}[column.name] for column in PHOTOS]


def _tags(content: Content) -> Iterator[list[Any]]:
    for name, tag in content.tags.items():
        yield [name, tag.kind, tag.element, tag.definition]


def _dictionary() -> Iterator[list[Any]]:
    for table, columns in TABLES.items():
        for one in columns:
            yield [table, one.name, one.kind, one.unit or None, one.meaning]


def _typed_dictionary() -> Iterator[list[Any]]:
    for table, columns in TABLES.items():
        for one in typed_columns(columns):
            yield [table, one.name, _KINDS[one.dtype], one.unit or None, one.meaning]


def write_csv_tables(content: Content, folder: Path) -> list[Path]:
    """Write every table as CSV (UTF-8); a text that a spreadsheet takes for a formula gets an apostrophe.

    Times are written as they were recorded (ISO 8601).
    """
    files = []
    for table, columns in TABLES.items():
        text = csv_text([column.name for column in columns], rows_of(content, table))
        files.append(folder / f"{table}.csv")
        write_whole(files[-1], text.encode())
    return files


def write_parquet_tables(content: Content, folder: Path) -> list[Path]:
    """Write every table as Parquet, with unit and meaning of each column in its metadata.

    A time is a timestamp in UTC, followed by what the clock read (`_local`, without a zone). Raises
    TriageError when pyarrow (the extra `parquet`) is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise TriageError(
            "Parquet needs the package pyarrow.", "Install it with: pip install 'deck-triage[parquet]'"
        ) from error
    types = {
        "string": pa.string(),
        "Int64": pa.int64(),
        "Float64": pa.float64(),
        "boolean": pa.bool_(),
        "datetime64[us, UTC]": pa.timestamp("us", tz="UTC"),
        "datetime64[us]": pa.timestamp("us"),
    }
    files = []
    for table, columns in TABLES.items():
        schema = pa.schema(
            [
                pa.field(one.name, types[one.dtype], metadata={"meaning": one.meaning, "unit": one.unit})
                for one in typed_columns(columns)
            ]
        )
        found = _typed_dictionary() if table == "dictionary" else rows_of(content, table)
        out = io.BytesIO()
        pq.write_table(
            pa.Table.from_pandas(typed_frame(columns, found), schema=schema, preserve_index=False), out
        )
        files.append(folder / f"{table}.parquet")
        write_whole(files[-1], out.getvalue())
    return files
