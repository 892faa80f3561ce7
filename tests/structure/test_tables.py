"""The tables as data: every row has its source, and values fall along columns, loads and sizes."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from triage.structure.tables import EDITION_WORDS, FOLDER, harder_cell, table
from triage.structure.units import feet

ROWS = [
    (name, cells, row)
    for name, cells in (
        ("irc_r507_6_joists", "spans"),
        ("irc_r507_5_beams", "spans"),
        ("irc_r507_9_1_3_ledger", "spacing_in"),
        ("irc_r507_4_posts", "heights"),
    )
    for row in table(name)["row"]
]


def _numbers(row: dict[str, Any], cells: str) -> list[float | None]:
    return [
        None if cell == "" else feet(cell) if isinstance(cell, str) else float(cell) for cell in row[cells]
    ]


@pytest.mark.parametrize(("name", "cells", "row"), ROWS)
def test_row_has_a_source_and_falls_along_its_columns(name: str, cells: str, row: dict[str, Any]) -> None:
    data = table(name)
    columns = next(value for key, value in data.items() if key.startswith("columns_"))
    assert row["source"] in data["sources"]
    assert set(row["editions"]) <= set(EDITION_WORDS)
    assert len(row[cells]) == len(columns)
    held = [value for value in _numbers(row, cells) if value is not None]
    assert all(nearer >= farther for nearer, farther in pairwise(held))


@pytest.mark.parametrize("name", ["irc_r507_6_joists", "irc_r507_5_beams"])
def test_a_heavier_load_or_a_smaller_size_never_spans_farther(name: str) -> None:
    rows = {
        (edition, species, row["load_psf"], row["size"]): _numbers(row, "spans")
        for row in table(name)["row"]
        for edition in row["editions"]
        for species in row["species"]
    }
    sizes = ["2x6", "2x8", "2x10", "2x12"]
    prefixes = ("",) if "joists" in name else ("2-", "3-")
    compared = 0
    for (edition, species, load, size), spans in rows.items():
        bigger = next((p + b for p in prefixes for a, b in pairwise(sizes) if p + a == size), None)
        for key in ((edition, species, load - 10, size), (edition, species, load, bigger)):
            for own, other in zip(spans, rows.get(key, []), strict=False):
                if own is not None and other is not None:
                    compared += 1
                    assert own <= other, (edition, species, load, size, key)
    assert compared > 100


def test_no_row_stands_twice() -> None:
    for name in ("irc_r507_6_joists", "irc_r507_5_beams"):
        keys = [
            (edition, species, row["load_psf"], row["size"])
            for row in table(name)["row"]
            for edition in row["editions"]
            for species in row["species"]
        ]
        assert len(keys) == len(set(keys))


def test_an_empty_cell_gives_way_to_the_next_harder() -> None:
    assert harder_cell([6, 8, 10], ["9-0", "", "7-0"], 7).printed == "7-0"  # type: ignore[union-attr]
    assert harder_cell([6, 8], ["9-0", ""], 7) is None


def test_every_limit_has_a_source() -> None:
    for limit in table("irc_guards_stairs")["limit"].values():
        assert limit["source"]
    assert {path.stem for path in FOLDER.glob("*.toml")} >= {name for name, _, _ in ROWS}
