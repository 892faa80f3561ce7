"""The library as tables: CSV and Parquet with one data dictionary for both."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from triage.errors import TriageError
from triage.exchange.content import Content
from triage.label.files import format_boxes, write_whole
from triage.tabular import safe_cell

Column = tuple[str, str, str, str]
"""Name, type (text, integer, number, true/false), unit, meaning."""

PHOTOS: tuple[Column, ...] = (
    ("photo", "text", "", "SHA-256 of the original file; the key of all tables"),
    ("deck", "text", "", "the deck it shows"),
    ("visit", "text", "ISO 8601 date", "the visit; empty where no date is known"),
    ("name", "text", "", "file name below the deck's folder"),
    ("file", "text", "", "name of the picture below the export's folder photos (a JPEG)"),
    ("taken_at", "text", "ISO 8601", "the camera's time, with a zone only where the camera gave one"),
    ("width", "integer", "pixels", "width of the upright photo"),
    ("height", "integer", "pixels", "height of the upright photo"),
    ("camera", "text", "", "model of the camera; never its serial number"),
    ("split", "text", "", "part of the split by deck; empty without one"),
    ("latitude", "number", "degrees", "position, only where it was asked for"),
    ("longitude", "number", "degrees", "position, only where it was asked for"),
)
LABELS: tuple[Column, ...] = (
    ("photo", "text", "", "SHA-256 of the photo"),
    ("deck", "text", "", "the photo's deck"),
    ("tag", "text", "", "what was asked, see tags"),
    ("value", "text", "", "present, absent or unclear"),
    ("by", "text", "", "who said it, or a pseudonym"),
    ("at", "text", "ISO 8601", "when it was said"),
    (
        "box",
        "text",
        "fractions of the upright photo",
        "x,y,width,height, several joined by ';'; zero size is a point",
    ),
    ("place", "text", "", "where on the deck"),
    ("count", "integer", "", "how many of them"),
    (
        "asked_by",
        "text",
        "",
        "how the photo came to be asked (deck, taken, random, second-look, audit: not chosen by the machine)",
    ),
    ("saw_machine", "true/false", "", "whether the machine's word was seen before"),
    ("note", "text", "", "anything else; left out with pseudonyms"),
)
WORDS: tuple[Column, ...] = (
    ("photo", "text", "", "SHA-256 of the photo"),
    ("tag", "text", "", "what was asked"),
    ("value", "text", "", "all words put together; the worse one while people disagree"),
    ("disputed", "true/false", "", "people said present and absent, and nobody settled it"),
    ("settled", "true/false", "", "a named person ended the dispute"),
    ("people", "integer", "", "how many people spoke"),
)
TAGS: tuple[Column, ...] = (
    ("tag", "text", "", "name"),
    ("kind", "text", "", "defect, or element (the photo shows that part well enough to judge it)"),
    ("element", "text", "", "the part of the deck it belongs to"),
    ("definition", "text", "", "what it means"),
)
DICTIONARY: tuple[Column, ...] = (
    ("table", "text", "", "name of the table"),
    ("column", "text", "", "name of the column"),
    ("type", "text", "", "text, integer, number, or true/false"),
    ("unit", "text", "", "unit or format"),
    ("meaning", "text", "", "what it says"),
)
TABLES: dict[str, tuple[Column, ...]] = {
    "photos": PHOTOS,
    "labels": LABELS,
    "words": WORDS,
    "tags": TAGS,
    "dictionary": DICTIONARY,
}


def rows_of(content: Content, table: str) -> Iterator[list[Any]]:
    """Yield a table's rows in the order of its columns; what is missing is null."""
    yield from {
        "photos": _photos,
        "labels": _labels,
        "words": _words,
        "tags": _tags,
        "dictionary": _dictionary,
    }[table](content)


def _photos(content: Content) -> Iterator[list[Any]]:
    for one in content.photos:
        latitude, longitude = content.positions.get(one.sha, (None, None))
        yield [
            one.sha,
            one.deck,
            one.visit,
            one.name,
            content.names[one.sha],
            one.taken_at,
            one.width,
            one.height,
            one.camera,
            content.split_of(one) or None,
            latitude,
            longitude,
        ]


def _labels(content: Content) -> Iterator[list[Any]]:
    deck = {photo.sha: photo.deck for photo in content.photos}
    for one in content.labels:
        yield [
            one.photo,
            deck[one.photo],
            one.tag,
            one.value,
            one.by,
            one.at,
            format_boxes(one.boxes) or None,
            one.place,
            one.count,
            one.asked_by,
            one.saw_machine,
            one.note,
        ]


def _words(content: Content) -> Iterator[list[Any]]:
    for (sha, tag), word in sorted(content.words.items()):
        people = len({label.by for label in word.labels})
        yield [sha, tag, word.value, word.disputed, word.settled, people]


def _tags(content: Content) -> Iterator[list[Any]]:
    for name, tag in content.tags.items():
        yield [name, tag.kind, tag.element, tag.definition]


def _dictionary(_content: Content) -> Iterator[list[Any]]:
    for table, columns in TABLES.items():
        for name, kind, unit, meaning in columns:
            yield [table, name, kind, unit or None, meaning]


def write_csv_tables(content: Content, folder: Path) -> list[Path]:
    """Write every table as CSV (UTF-8); a text that a spreadsheet takes for a formula gets an apostrophe."""
    files = []
    for table, columns in TABLES.items():
        out = io.StringIO(newline="")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([column[0] for column in columns])
        for row in rows_of(content, table):
            writer.writerow([_cell(value) for value in row])
        files.append(folder / f"{table}.csv")
        write_whole(files[-1], out.getvalue().encode())
    return files


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return safe_cell(value) if isinstance(value, str) else str(value)


def write_parquet_tables(content: Content, folder: Path) -> list[Path]:
    """Write every table as Parquet.

    Raises TriageError when pyarrow (the extra `parquet`) is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise TriageError(
            "Parquet needs the package pyarrow.", "Install it with: pip install 'deck-triage[parquet]'"
        ) from error
    types = {"text": pa.string(), "integer": pa.int64(), "number": pa.float64(), "true/false": pa.bool_()}
    files = []
    for table, columns in TABLES.items():
        schema = pa.schema(
            [
                pa.field(name, types[kind], metadata={"meaning": meaning, "unit": unit})
                for name, kind, unit, meaning in columns
            ]
        )
        cells = list(zip(*rows_of(content, table), strict=True)) or [()] * len(columns)
        arrays = [pa.array(column, field.type) for column, field in zip(cells, schema, strict=True)]
        out = io.BytesIO()
        pq.write_table(pa.Table.from_arrays(arrays, schema=schema), out)
        files.append(folder / f"{table}.parquet")
        write_whole(files[-1], out.getvalue())
    return files
