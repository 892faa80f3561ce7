"""The plan of a day: which stops were to be made, read from a CSV file.

Columns (the first line names them; only `name` is needed): `name` (the deck's code), `address` (private: it
is kept as the deck's private field), `latitude`, `longitude` (degrees), `time` (planned, ISO 8601, or a
clock time with a column `day`), `decks` (how many decks the stop has, 1 by default).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from triage.errors import BadInput
from triage.ingest.collect import clean_name
from triage.tabular import plain_cell, read_csv, read_text

COLUMNS = ("name", "address", "latitude", "longitude", "time", "day", "decks")
_OTHER_NAMES = {"lat": "latitude", "lon": "longitude", "lng": "longitude", "stop": "name", "deck": "name"}
_HINT = f"The first line names the columns: {','.join(COLUMNS)}; only name is needed."


@dataclass(frozen=True)
class Stop:
    """One stop of the plan: its code, private address, place in degrees, planned time, number of decks."""

    name: str
    address: str | None = None
    place: tuple[float, float] | None = None
    time: str | None = None
    decks: int = 1

    @property
    def deck_names(self) -> tuple[str, ...]:
        """The codes of its decks: its own, or numbered where it has several."""
        if self.decks == 1:
            return (self.name,)
        return tuple(f"{self.name}-{number}" for number in range(1, self.decks + 1))


@dataclass(frozen=True)
class Plan:
    """The stops of one or more days, in the order of the file."""

    stops: tuple[Stop, ...]


def read_plan(path: Path) -> Plan:
    """Read a plan. Raises BadInput naming the file and line for anything that cannot be used."""
    sheet = read_csv(f"The plan {path}", read_text(path))
    heads = [_OTHER_NAMES.get(one, one) for one in sheet.header]
    if "name" not in heads:
        raise BadInput(f"The plan {path} has no column 'name'.", _HINT)
    unknown = [one for one in heads if one not in COLUMNS]
    if unknown:
        raise BadInput(f"The plan {path} has an unknown column '{unknown[0]}'.", _HINT)
    stops = tuple(
        _stop(
            f"{path}, line {row.line}",
            {_OTHER_NAMES.get(name, name): text for name, text in row.cells.items()},
        )
        for row in sheet.rows()
    )
    if not stops:
        raise BadInput(f"The plan {path} holds no stop.", _HINT)
    twice = [name for name, count in Counter(one.name.casefold() for one in stops).items() if count > 1]
    if twice:
        name = next(one.name for one in stops if one.name.casefold() == twice[0])
        raise BadInput(
            f"The plan {path} has two stops named '{name}'.",
            "Give each stop its own name, or one stop with the number of its decks in the column 'decks'.",
        )
    return Plan(stops)


def _stop(where: str, row: Mapping[str, str | None]) -> Stop:
    def text(column: str) -> str:
        return plain_cell((row.get(column) or "").strip())

    if not text("name"):
        raise BadInput(f"{where}: the stop has no name.", "Write a short code for it.")
    number = text("decks") or "1"
    if not number.isdigit() or not 1 <= int(number) <= 50:
        raise BadInput(f"{where}: '{number}' is not a number of decks.", "Write 1 to 50.")
    return Stop(
        clean_name(text("name")), text("address") or None, _place(where, row), _time(where, row), int(number)
    )


def _place(where: str, row: Mapping[str, str | None]) -> tuple[float, float] | None:
    texts = [(row.get(one) or "").strip() for one in ("latitude", "longitude")]
    if not any(texts):
        return None
    try:
        latitude, longitude = float(texts[0]), float(texts[1])
    except ValueError as error:
        raise BadInput(
            f"{where}: '{texts[0]}, {texts[1]}' is not a position.",
            "Write latitude and longitude in decimal degrees, or leave both empty.",
        ) from error
    known = math.isfinite(latitude) and math.isfinite(longitude)
    if not known or abs(latitude) > 90 or abs(longitude) > 180 or (latitude == 0 and longitude == 0):
        raise BadInput(
            f"{where}: {texts[0]}, {texts[1]} is not a place on earth where a deck could be.",
            "Latitude runs from -90 to 90, longitude from -180 to 180; leave both empty if not known.",
        )
    return latitude, longitude


def _time(where: str, row: Mapping[str, str | None]) -> str | None:
    text = (row.get("time") or "").strip()
    day = (row.get("day") or "").strip()
    if not text:
        return None
    try:
        return datetime.fromisoformat(f"{day}T{text}" if day else text).isoformat()
    except ValueError as error:
        raise BadInput(
            f"{where}: '{text}' is not a time.", "Write it as 2026-05-04T09:30, or 09:30 with a column day."
        ) from error
