"""Facts about decks, recorded by people: checked as a whole and stored as one act, or not at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from triage.errors import BadInput
from triage.library import EventDraft, Library, queries
from triage.library.records import Fact, Photo
from triage.library.store import write_whole
from triage.structure.contradictions import ended_by
from triage.structure.facts import contradictions, parse_facts
from triage.structure.facts_files import read_facts_file
from triage.tabular import csv_text


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
    """Record facts about one deck; an empty value removes a fact. Raises BadInput with nothing stored."""
    visit = visit or queries.latest_visit(library, deck)
    values = parse_facts(pairs)
    said = _said(library, deck, visit, values, by, photos)
    if not dry_run:
        library.say_many(said)
    return {key: value for key, value in values.items() if value is not None}


def read_facts(library: Library, path: Path, *, by: str, dry_run: bool = False) -> dict[str, dict[str, Any]]:
    """Record the facts of a TOML or CSV file as one act. Raises BadInput naming file, line and key."""
    said: list[EventDraft] = []
    told: dict[str, dict[str, Any]] = {}
    for (deck, visit), values in read_facts_file(path).items():
        said += _said(library, deck, visit or queries.latest_visit(library, deck), values, by, ())
        told.setdefault(deck, {}).update(values)
    if not dry_run:
        library.say_many(said)
    return told


def write_facts(library: Library, path: Path) -> int:
    """Write the facts of all decks and visits as CSV that `read_facts` takes; returns the number of rows."""
    rows = [
        [deck, visit, key, as_text(fact.value)]
        for deck in queries.decks(library)
        for visit in queries.visits(library, deck)
        for key, fact in queries.facts(library, deck, visit).items()
        if fact.visit == visit
    ]
    write_whole(path, csv_text(["deck", "visit", "key", "value"], rows).encode())
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
    facts = queries.facts(library, deck, visit)
    before = {key: fact.value for key, fact in facts.items()}
    values = {**values, **dict.fromkeys(ended_facts(facts, visit, values))}
    after = {key: value for key, value in {**before, **values}.items() if value is not None}
    faults = contradictions(after)
    if faults:
        old = [key for key, fact in facts.items() if fact.visit != visit and key in faults[0]]
        raise BadInput(f"Deck {deck}: {faults[0]}{_since(facts, old)}", _how(deck, old, values))
    shas = [photo.sha for photo in photos]
    return [
        EventDraft("fact", {"deck": deck, "visit": visit, "key": key, "value": value, "photos": shas}, by)
        for key, value in values.items()
        if _plain(before.get(key)) != _plain(value) or shas
    ]


def ended_facts(facts: Mapping[str, Fact], visit: str | None, values: Mapping[str, Any]) -> list[str]:
    """Return the facts of earlier visits that end with these new ones (a repair, not a contradiction)."""
    earlier = {key: fact.value for key, fact in facts.items() if fact.visit != visit}
    return ended_by({key: value for key, value in values.items() if value is not None}, earlier)


def repairs(library: Library, deck: str, visit: str | None, pairs: Mapping[str, object]) -> list[str]:
    """Return one sentence for each fact of an earlier visit that the new facts end."""
    visit = visit or queries.latest_visit(library, deck)
    facts = queries.facts(library, deck, visit)
    return [
        f"{key} was {as_text(facts[key].value)} at {_visit_words(facts[key].visit)}; it no longer holds from"
        f" {_visit_words(visit)} on (a repair). If that is wrong: deck-triage undo"
        for key in ended_facts(facts, visit, parse_facts(pairs))
    ]


def _visit_words(visit: str | None) -> str:
    return f"the visit of {visit}" if visit else "an undated visit"


def _since(facts: Mapping[str, Fact], old: Sequence[str]) -> str:
    return "".join(f"; {key} is from {_visit_words(facts[key].visit)}" for key in old)


def _how(deck: str, old: Sequence[str], values: Mapping[str, Any]) -> str:
    """Return what to do: put a slip right, or say that the deck was changed between the visits."""
    if not old:
        return "Correct the one that is wrong; nothing was stored."
    both = " ".join(
        [
            *(f"{key}={as_text(value)}" for key, value in values.items() if value is not None),
            *(f"{key}=NEW" for key in old if key not in values),
        ]
    )
    return (
        "Correct the one that is wrong; nothing was stored. If the deck was rebuilt between the visits, "
        f"give what is there now: deck-triage facts set {deck} {both}"
    )


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
            raise BadInput(f"{path}: deck {deck}: {faults[0]}", "Correct the one that is wrong.")
    return {deck: values for deck, values in told.items() if not decks or deck in decks}
