"""Facts about decks, told by people: checked as a whole, stored as one act, or not at all."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from triage.errors import BadInput
from triage.label.files import safe_cell
from triage.library import EventDraft, Library
from triage.library.records import Photo
from triage.library.store import write_whole
from triage.structure.facts import contradictions, parse_facts, read_facts_file


def set_facts(
    library: Library,
    deck: str,
    pairs: Mapping[str, str],
    *,
    by: str,
    visit: str | None = None,
    photos: Sequence[Photo] = (),
    dry_run: bool = False,
) -> dict[str, Any]:
    """Tell facts of one deck; an empty value takes a fact away. Raises BadInput with nothing stored."""
    visit = visit or library.latest_visit(deck)
    values = parse_facts(pairs)
    said = _said(library, deck, visit, values, by, photos)
    if not dry_run:
        library.say_many(said)
    return {key: value for key, value in values.items() if value is not None}


def read_facts(library: Library, path: Path, *, by: str, dry_run: bool = False) -> dict[str, dict[str, Any]]:
    """Tell the facts of a TOML or CSV file, as one act. Raises BadInput naming file, line and key."""
    said: list[EventDraft] = []
    told: dict[str, dict[str, Any]] = {}
    for (deck, visit), values in read_facts_file(path).items():
        said += _said(library, deck, visit or library.latest_visit(deck), values, by, ())
        told.setdefault(deck, {}).update(values)
    if not dry_run:
        library.say_many(said)
    return told


def write_facts(library: Library, path: Path) -> int:
    """Write the facts of all decks and visits as CSV that `read_facts` takes; returns the number of rows."""
    rows = [
        [safe_cell(deck), visit or "", key, safe_cell(as_text(fact.value))]
        for deck in library.decks()
        for visit in library.visits(deck)
        for key, fact in library.facts(deck, visit).items()
        if fact.visit == visit
    ]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["deck", "visit", "key", "value"])
    writer.writerows(rows)
    write_whole(path, out.getvalue().encode())
    return len(rows)


def as_text(value: Any) -> str:
    """Return a fact's value as a file holds it; `parse_fact` reads it back unchanged."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return ", ".join(value) if isinstance(value, list | tuple) else str(value)


def _said(
    library: Library,
    deck: str,
    visit: str | None,
    values: Mapping[str, Any],
    by: str,
    photos: Sequence[Photo],
) -> list[EventDraft]:
    before = {key: fact.value for key, fact in library.facts(deck, visit).items()}
    after = {key: value for key, value in {**before, **values}.items() if value is not None}
    faults = contradictions(after)
    if faults:
        raise BadInput(f"Deck {deck}: {faults[0]}", "Put right the one that is wrong; nothing was stored.")
    shas = [photo.sha for photo in photos]
    return [
        EventDraft("fact", {"deck": deck, "visit": visit, "key": key, "value": value, "photos": shas}, by)
        for key, value in values.items()
        if _plain(before.get(key)) != _plain(value) or shas
    ]


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def latest_of_file(path: Path, decks: Sequence[str]) -> dict[str, dict[str, Any]]:
    """Return each deck's facts of a file, a later visit over an earlier one; only some decks where named.

    Raises BadInput for a file that does not fit, contradictory facts, or a deck that is not in it.
    """
    told: dict[str, dict[str, Any]] = {}
    rows = sorted(read_facts_file(path).items(), key=lambda row: row[0][1] or "")
    for (deck, _), values in rows:
        told.setdefault(deck, {}).update(values)
    for deck in decks:
        if deck not in told:
            raise BadInput(
                f"{path} says nothing about the deck {deck!r}.", f"It names: {', '.join(told) or 'none'}."
            )
    for deck, values in told.items():
        faults = contradictions(values)
        if faults:
            raise BadInput(f"{path}: deck {deck}: {faults[0]}", "Put right the one that is wrong.")
    return {deck: values for deck, values in told.items() if not decks or deck in decks}
