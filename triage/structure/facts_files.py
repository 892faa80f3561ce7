"""The two file forms of deck facts, TOML and CSV, read with the line of every value."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from triage import tabular
from triage.errors import BadInput
from triage.structure.contradictions import find
from triage.structure.facts import fact_key, parse_fact
from triage.tabular import Row, plain_cell, read_text

Facts = dict[tuple[str, str | None], dict[str, Any]]
_COLUMNS = ("deck", "visit", "key", "value")
_MORE_COLUMNS = ("unit", "question", "by", "at", "sheet", "was")
"""Columns of templates and of sheets filled in on a phone; only `unit` changes what a value means."""
_SHAPE = (
    'A facts file has one table per deck, [decks."name"], or per visit, [decks."name".visits."2026-05-01"].'
)
_BARE = re.compile(r"[\d./ ]+")
_HEADER = re.compile(r"\[([^\[\]]+)\]\s*(?:#.*)?")
_KEY = re.compile(r"\s*[\"']?([A-Za-z0-9_-]+)[\"']?\s*=")


def read_facts_file(path: Path | str) -> Facts:
    """Return the facts of a TOML or CSV file by (deck, visit or null), each value in the unit of its key.

    TOML: `[decks."name"]` and `[decks."name".visits."2026-05-01"]`; CSV: columns deck,visit,key,value.
    Raises BadInput naming file, line and key; then nothing of the file is returned.
    """
    path = Path(path)
    readers = {".toml": read_toml, ".csv": read_csv}
    if path.suffix.lower() not in readers:
        raise BadInput(f"{path.name} is neither .toml nor .csv", "Name the facts file *.toml or *.csv.")
    return readers[path.suffix.lower()](path, read_text(path))


def read_toml(path: Path, text: str) -> Facts:
    """Return the facts of a TOML file; raises BadInput with file, line and key."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{path.name}: {error}", "Fix the TOML there.") from error
    decks = document.get("decks")
    if not isinstance(decks, dict) or set(document) != {"decks"}:
        extra = next((key for key in document if key != "decks"), None)
        what = f"'{extra}' was found where [decks] is expected" if extra else "no [decks] table"
        raise BadInput(f"{path.name}: {what}", _SHAPE)
    lines = _lines(text)
    facts: Facts = {}
    for deck, table in decks.items():
        if not isinstance(table, dict):
            raise BadInput(f"{path.name}, line {lines.get((deck,), 1)}: deck '{deck}' is not a table", _SHAPE)
        visits = table.get("visits", {})
        if not isinstance(visits, dict) or not all(isinstance(part, dict) for part in visits.values()):
            raise BadInput(f"{path.name}: the visits of deck '{deck}' are not tables", _SHAPE)
        own = {key: value for key, value in table.items() if key != "visits"}
        if own:
            facts[deck, None] = _table(path, lines, ("decks", deck), own)
        for visit, part in visits.items():
            place = ("decks", deck, "visits", visit)
            _check_visit(f"{path.name}, line {lines.get(place, 1)}", visit)
            facts[deck, visit] = _table(path, lines, place, part)
    _refuse_contradictions(path, facts, {where: lines.get(_place(where), 1) for where in facts})
    return facts


def _place(where: tuple[str, str | None]) -> tuple[str, ...]:
    deck, visit = where
    return ("decks", deck) if visit is None else ("decks", deck, "visits", visit)


def _table(
    path: Path, lines: Mapping[tuple[str, ...], int], place: tuple[str, ...], table: Mapping[str, Any]
) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, raw in table.items():
        where = f"{path.name}, line {lines.get((*place, name), lines.get(place, 1))}"
        key = _key(where, name)
        _put(found, key, _value(where, key, raw), where)
    return found


def _lines(text: str) -> dict[tuple[str, ...], int]:
    """Return the line of every table and key, counted from 1 (for messages only)."""
    found: dict[tuple[str, ...], int] = {}
    place: tuple[str, ...] = ()
    for line_number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.fullmatch(line.strip())
        if header is not None:
            place = tuple(
                a or b or c for a, b, c in re.findall(r"\"([^\"]*)\"|'([^']*)'|([^.\s]+)", header[1])
            )
            found.setdefault(place, line_number)
        elif (key := _KEY.match(line)) is not None:
            found.setdefault((*place, key[1]), line_number)
    return found


@dataclass(frozen=True)
class Cell:
    """One value of a facts file: its line, its value, and what a sheet noted with it."""

    line: int
    deck: str
    visit: str | None
    key: str
    value: Any
    noted: Mapping[str, str]


def read_csv(path: Path, text: str) -> Facts:
    """Return the facts of a CSV file; raises BadInput with file and line.

    Either one fact a row (deck,visit,key,value) or one deck a row (deck,visit, then a column per fact).
    A cell left empty says nothing.
    """
    facts: Facts = {}
    first_line: dict[tuple[str, str | None], int] = {}
    for cell in csv_cells(path, text):
        where = (cell.deck, cell.visit)
        first_line.setdefault(where, cell.line)
        try:
            _put(facts.setdefault(where, {}), cell.key, cell.value, f"{path.name}, line {cell.line}")
        except BadInput as error:
            raise BadInput(f"{error} (deck '{cell.deck}')", error.hint) from error
    _refuse_contradictions(path, facts, first_line)
    return facts


def csv_cells(path: Path, text: str, faults: list[dict[str, Any]] | None = None) -> list[Cell]:
    """Return the filled cells of a CSV file of facts; raises BadInput with file and line.

    With `faults`, a row that cannot be read is added there with its reason and the others are returned.
    """
    sheet = tabular.read_csv(path.name, text)
    names = sheet.header
    wide = "deck" in names and "key" not in names and "value" not in names
    keys = _wide_columns(path, names) if wide else {}
    if not wide:
        _check_columns(path, names)
    found = []
    for row in sheet.rows():
        try:
            found += _row_cells(f"{path.name}, line {row.line}", row, len(names), keys)
        except BadInput as error:
            if faults is None:
                raise
            names_of = {name: row.cells.get(name) or "" for name in ("deck", "key")}
            faults.append({"row": row.line, **names_of, "reason": f"{error}"})
    return found


def _row_cells(where: str, row: Row, columns: int, keys: Mapping[str, str]) -> list[Cell]:
    """Return the filled cells of one row; `keys` maps columns to facts where one row is one deck."""
    said = row.cells
    deck = plain_cell((said.get("deck") or "").strip())
    if not deck or row.width > columns:
        what = "no deck is named" if not deck else "more fields than columns"
        raise BadInput(f"{where}: {what}", "Put a value that holds a comma between quotes.")
    visit = (said.get("visit") or "").strip() or None
    if visit is not None:
        _check_visit(where, visit)
    noted = {one: (said.get(one) or "").strip() for one in _MORE_COLUMNS if said.get(one)}
    pairs = [(keys[name], said[name]) for name in keys] if keys else [(said["key"], said["value"])]
    cells = []
    for name, raw in pairs:
        if raw is None:
            raise BadInput(f"{where}: {name}: no value is given", "Leave the cell empty, with its comma.")
        value = plain_cell(raw).strip()
        if value:
            key = _key(where, (name or "").strip())
            parsed = _value(where, key, _in_unit(value, noted.get("unit", "")))
            cells.append(Cell(row.line, deck, visit, key, parsed, noted))
    return cells


def _check_columns(path: Path, names: Sequence[str]) -> None:
    unknown = [name for name in names if name not in (*_COLUMNS, *_MORE_COLUMNS)]
    missing = [name for name in ("deck", "key", "value") if name not in names]
    if unknown or missing:
        what = f"no column '{missing[0]}'" if missing else f"'{unknown[0]}' is not a column of a facts file"
        raise BadInput(
            f"{path.name}, line 1: {what}",
            "The columns are deck,visit,key,value, separated by commas; or one deck a row.",
        )


def _wide_columns(path: Path, names: Sequence[str]) -> dict[str, str]:
    """Return the fact of every column of a table with one deck a row."""
    keys = {name: _key(f"{path.name}, line 1", name) for name in names if name not in ("deck", "visit")}
    if not keys:
        raise BadInput(f"{path.name}, line 1: no column 'key'", "The columns are deck,visit,key,value.")
    return keys


def _in_unit(value: str, unit: str) -> str:
    """Return a plain number with the unit of its row; a value that has a unit already keeps it."""
    return f"{value} {unit}" if unit in ("ft", "in") and _BARE.fullmatch(value) else value


def _put(facts: dict[str, Any], key: str, value: Any, where: str) -> None:
    if key in facts and facts[key] != value:
        raise BadInput(f"{where}: {key} is given twice, {facts[key]} and {value}", "Keep one.")
    facts[key] = value


def _key(where: str, name: str) -> str:
    try:
        return fact_key(name).key
    except BadInput as error:
        raise BadInput(f"{where}: {error}", error.hint) from error


def _value(where: str, key: str, raw: object) -> Any:
    try:
        return parse_fact(key, raw)
    except BadInput as error:
        raise BadInput(f"{where}: {error}", error.hint) from error


def _check_visit(where: str, visit: str) -> None:
    try:
        date.fromisoformat(visit)
    except ValueError as error:
        raise BadInput(f"{where}: visit '{visit}' is not a date", "Write the date as 2026-05-01.") from error


def _refuse_contradictions(path: Path, facts: Facts, lines: Mapping[tuple[str, str | None], int]) -> None:
    """Raise BadInput when the facts of one deck at one visit contradict each other."""
    for (deck, visit), own in facts.items():
        said = {**facts.get((deck, None), {}), **own}
        for sentence in find(said)[:1]:
            at = f" at the visit of {visit}" if visit else ""
            raise BadInput(
                f"{path.name}, line {lines[deck, visit]}: deck '{deck}'{at}: {sentence}",
                "Correct one of the two; leave out what is not known.",
            )
