"""Facts that come back from a sheet filled in on a phone: who gave them, when, and on which sheet.

With each answer the sheet holds what was known when the sheet was made (`was`). An answer is taken where
nothing changed since; where somebody else gave another value for the same visit meanwhile, both are named and
a person decides. So several phones' files merge in any order, and reading one twice adds nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from triage.errors import BadInput, WrongUsage
from triage.label.files import parse_time
from triage.library import EventDraft, Library, queries
from triage.structure.contradictions import find
from triage.structure.facts_files import Cell, csv_cells
from triage.structure.telling import as_text, ended_facts, read_facts
from triage.tabular import read_text


@dataclass
class SheetRead:
    """The result of a sheet: facts recorded by deck, rows known already, and rows set aside with reasons."""

    told: dict[str, dict[str, Any]] = field(default_factory=lambda: defaultdict(dict))
    known: int = 0
    set_aside: list[dict[str, Any]] = field(default_factory=list)


def is_field_sheet(path: Path) -> bool:
    """Return whether a file is a sheet saved on a phone (it names the sheet its rows came from)."""
    if path.suffix.lower() != ".csv":
        return False
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            head = file.readline(2000)
    except (OSError, UnicodeDecodeError):
        return False
    return {"deck", "key", "value", "sheet"} <= {name.strip().lower() for name in head.split(",")}


def take_facts(library: Library, path: Path, *, by: str | None, dry_run: bool = False) -> SheetRead:
    """Take in any file of facts: TOML, CSV, a phone's sheet. Raises as `read_facts` and `read_sheet` do."""
    if is_field_sheet(path):
        return read_sheet(library, path, by=by, dry_run=dry_run)
    if not by:
        raise WrongUsage("Nobody is named as the speaker.", "Say who speaks with --by NAME.")
    told = read_facts(library, path, by=by, dry_run=dry_run)
    return SheetRead(told)


def read_sheet(library: Library, path: Path, *, by: str | None, dry_run: bool = False) -> SheetRead:
    """Take in a sheet saved on a phone, as one act; what cannot be taken is set aside row by row.

    `by` is the author of rows that name nobody. Raises BadInput where the file is not such a sheet,
    WrongUsage where a row names nobody and `by` is null.
    """
    read = SheetRead()
    said: list[EventDraft] = []
    by_visit: dict[tuple[str, str | None], list[Cell]] = defaultdict(list)
    for cell in csv_cells(path, read_text(path), faults=read.set_aside):
        by_visit[cell.deck, cell.visit].append(cell)
    for (deck, visit), cells in by_visit.items():
        said += _of_visit(library, deck, visit or queries.latest_visit(library, deck), cells, by, read)
    if not dry_run:
        library.say_many(said)
    return read


def _of_visit(
    library: Library, deck: str, visit: str | None, cells: Sequence[Cell], by: str | None, read: SheetRead
) -> list[EventDraft]:
    facts = queries.facts(library, deck, visit)
    now = {key: fact.value for key, fact in facts.items()}
    said: list[EventDraft] = []
    ended = ended_facts(facts, visit, {cell.key: cell.value for cell in cells})
    for key in ended:
        now.pop(key)
    for cell in cells:
        value = list(cell.value) if isinstance(cell.value, tuple) else cell.value
        if now.get(cell.key) == value:
            read.known += 1
            continue
        reason = _reason(cell, now, {key for key, fact in facts.items() if fact.visit == visit}, facts)
        if reason:
            read.set_aside.append({"row": cell.line, "deck": deck, "key": cell.key, "reason": reason})
            continue
        said.append(_draft(cell, visit, value, by))
        now[cell.key] = value
        read.told[deck][cell.key] = cell.value
    gone = [key for key in ended if key not in now]
    if said and gone:
        by_whom, at = said[-1].by, said[-1].at
        base: dict[str, Any] = {"deck": deck, "visit": visit, "value": None, "photos": []}
        said += [EventDraft("fact", {**base, "key": key}, by_whom, at) for key in gone]
    return said


def _reason(cell: Cell, now: Mapping[str, Any], same_visit: set[str], facts: Mapping[str, Any]) -> str:
    """Return why a row cannot be taken, or nothing."""
    current = now.get(cell.key)
    if cell.key in same_visit and as_text(current) != cell.noted.get("was", ""):
        who = facts[cell.key].by if cell.key in facts else "another row"
        return (
            f"{cell.key} is {as_text(cell.value)} on this sheet and {as_text(current)} by {who} "
            f"for the same visit; "
            f"decide with: deck-triage facts set {cell.deck} {cell.key}=VALUE"
        )
    faults = [one for one in find({**now, cell.key: cell.value}) if one not in find(now)]
    return f"it contradicts what is known: {faults[0]}" if faults else ""


def _draft(cell: Cell, visit: str | None, value: Any, by: str | None) -> EventDraft:
    who = cell.noted.get("by") or by
    if not who:
        raise WrongUsage(f"Row {cell.line} does not say who gave it.", "Say who speaks with --by NAME.")
    payload = {
        "deck": cell.deck,
        "visit": visit,
        "key": cell.key,
        "value": value,
        "photos": [],
        "sheet": cell.noted.get("sheet", ""),
    }
    try:
        at = parse_time(cell.noted.get("at", ""))
    except BadInput:
        at = None  # a phone with a broken clock still brings good measurements; the time of reading stands
    return EventDraft("fact", payload, who, at)
