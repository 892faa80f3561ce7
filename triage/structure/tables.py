"""Published tables as data (`triage/data/tables/*.toml`): no interpolation, the next harder column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from triage.domain.packaged import DATA, packaged_toml

FOLDER = DATA / "tables"
_EDGE = 1e-9
EDITION_WORDS = {
    "irc-2018": "IRC 2018",
    "irc-2021": "IRC 2021",
    "irc-2024": "IRC 2024",
    "dca6-2015": "AWC DCA 6-2015",
}


@cache
def table(name: str) -> dict[str, Any]:
    """Return a table file by its name without the ending."""
    return packaged_toml(f"tables/{name}.toml")


def rows(name: str, edition: str, **where: Any) -> list[dict[str, Any]]:
    """Return the rows of a table for an edition; a list in a row matches when it holds the value."""
    return [
        row
        for row in table(name)["row"]
        if edition in row["editions"] and all(_fits(row[key], value) for key, value in where.items())
    ]


def _fits(cell: Any, value: Any) -> bool:
    return value in cell if isinstance(cell, list) else bool(cell == value)


def source_of(name: str, row: dict[str, Any], edition: str) -> str:
    """Return the document, edition and place of a row."""
    return str(table(name)["sources"][row["source"]]).format(edition=EDITION_WORDS[edition])


@dataclass(frozen=True)
class Cell:
    """A cell that was read: its value as printed and the column it is in."""

    printed: Any
    column: float


def harder_cell(columns: Sequence[float], cells: Sequence[Any], value: float) -> Cell | None:
    """Return the cell of the first column that is not below `value`, or null beyond the last.

    Columns rise and get harder. An empty cell (public copies differ) gives way to the next harder one.
    """
    for column, cell in zip(columns, cells, strict=True):
        if value <= column + _EDGE and cell != "":
            return Cell(cell, column)
    return None
