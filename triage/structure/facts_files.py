"""The two file forms of deck facts, TOML and CSV, read with the line of every value."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from triage.errors import BadInput
from triage.label.files import plain_cell
from triage.structure.contradictions import find
from triage.structure.facts import parse_fact

Facts = dict[tuple[str, str | None], dict[str, Any]]
_COLUMNS = ("deck", "visit", "key", "value")
_SHAPE = (
    'A facts file has one table per deck, [decks."name"], or per visit, [decks."name".visits."2026-05-01"].'
)
_HEADER = re.compile(r"\[([^\[\]]+)\]\s*(?:#.*)?")
_KEY = re.compile(r"\s*[\"']?([A-Za-z0-9_-]+)[\"']?\s*=")


def read_toml(path: Path, text: str) -> Facts:
    """Return the facts of a TOML file; raises BadInput with file, line and key."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{path.name}: {error}", "Mend the TOML at that place.") from error
    decks = document.get("decks")
    if not isinstance(decks, dict) or set(document) != {"decks"}:
        extra = next((key for key in document if key != "decks"), None)
        what = f"'{extra}' stands where [decks] is expected" if extra else "no [decks] table"
        raise BadInput(f"{path.name}: {what}", _SHAPE)
    lines = _lines(text)
    facts: Facts = {}
    for deck, table in decks.items():
        if not isinstance(table, dict):
            raise BadInput(f"{path.name}, line {lines.get((deck,), 1)}: deck '{deck}' is no table", _SHAPE)
        visits = table.get("visits", {})
        if not isinstance(visits, dict) or not all(isinstance(part, dict) for part in visits.values()):
            raise BadInput(f"{path.name}: the visits of deck '{deck}' are no tables", _SHAPE)
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
    return {
        key: _value(f"{path.name}, line {lines.get((*place, key), lines.get(place, 1))}", key, raw)
        for key, raw in table.items()
    }


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


def read_csv(path: Path, text: str) -> Facts:
    """Return the facts of a CSV file (deck,visit,key,value); raises BadInput with file and line."""
    reader = csv.DictReader(io.StringIO(text, newline=""))
    names = [name.strip().lower() for name in reader.fieldnames or ()]
    reader.fieldnames = names
    unknown = [name for name in names if name not in _COLUMNS]
    missing = [name for name in ("deck", "key", "value") if name not in names]
    if unknown or missing:
        what = f"no column '{missing[0]}'" if missing else f"'{unknown[0]}' is no column of a facts file"
        raise BadInput(
            f"{path.name}, line 1: {what}", "The columns are deck,visit,key,value, set apart by commas."
        )
    facts: Facts = {}
    first_line: dict[tuple[str, str | None], int] = {}
    for row in reader:
        where = f"{path.name}, line {reader.line_num}"
        deck, key = plain_cell((row.get("deck") or "").strip()), (row.get("key") or "").strip()
        if not deck or None in row:
            what = "no deck is named" if not deck else "more fields than columns"
            raise BadInput(f"{where}: {what}", "Put a value that holds a comma between quotes.")
        visit = (row.get("visit") or "").strip() or None
        if visit is not None:
            _check_visit(where, visit)
        value = _value(where, key, plain_cell(row.get("value") or ""))
        known = facts.setdefault((deck, visit), {})
        first_line.setdefault((deck, visit), reader.line_num)
        if key in known and known[key] != value:
            raise BadInput(
                f"{where}: {key} of deck '{deck}' is given twice, {known[key]} and {value}", "Keep one."
            )
        known[key] = value
    _refuse_contradictions(path, facts, first_line)
    return facts


def _value(where: str, key: str, raw: object) -> Any:
    try:
        return parse_fact(key, raw)
    except BadInput as error:
        raise BadInput(f"{where}: {error}", error.hint) from error


def _check_visit(where: str, visit: str) -> None:
    try:
        date.fromisoformat(visit)
    except ValueError as error:
        raise BadInput(f"{where}: visit '{visit}' is no date", "Write the date as 2026-05-01.") from error


def _refuse_contradictions(path: Path, facts: Facts, lines: Mapping[tuple[str, str | None], int]) -> None:
    """Raise BadInput when what is said of one deck at one visit cannot be true at once."""
    for (deck, visit), own in facts.items():
        said = {**facts.get((deck, None), {}), **own}
        for sentence in find(said)[:1]:
            at = f" at the visit of {visit}" if visit else ""
            raise BadInput(
                f"{path.name}, line {lines[deck, visit]}: deck '{deck}'{at}: {sentence}",
                "Correct one of the two; leave out what is not known.",
            )
