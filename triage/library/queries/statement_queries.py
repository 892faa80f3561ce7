"""Statements about decks: facts, findings, tiers, warnings, closings and the like."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, select

from triage.library.log import Event, Names, from_row
from triage.library.queries.asking import ANY_VISIT, query
from triage.library.queries.event_queries import with_texts
from triage.library.records import Closing, Fact, Finding, Lift, PersonTier, Warned
from triage.library.tables import event as event_table
from triage.library.tables import statement


@query
def statements(connection: Connection, kind: str, deck: str | None = None) -> list[Event]:
    """Return the current statements of a kind, in order, with private texts put back.

    Each stands at the deck and visit to which it was carried since it was said.
    """
    query = (
        select(event_table, statement.c.payload.label("carried"))
        .join(statement, statement.c.event == event_table.c.hash)
        .where(statement.c.current.is_(True), statement.c.kind == kind)
        .order_by(statement.c.lamport, statement.c.log_id, statement.c.seq)
    )
    if deck is not None:
        query = query.where(statement.c.deck == deck)
    names = Names(connection)
    return [
        with_texts(from_row({key: row[key] for key in row if key != "carried"}, names), names, row["carried"])
        for row in connection.execute(query).mappings()
    ]


def _up_to(events: Iterable[Event], visit: str | None) -> list[Event]:
    if visit == ANY_VISIT:
        return list(events)
    return [event for event in events if (event.payload.get("visit") or "") <= (visit or "")]


@query
def facts(connection: Connection, deck: str, visit: str | None = ANY_VISIT) -> dict[str, Fact]:
    """Return the latest value of each fact, by visit first and then by the order they were told."""
    found: dict[str, Fact] = {}
    rows = _up_to(statements(connection, "fact", deck), visit)
    rows.sort(key=lambda event: event.payload.get("visit") or "")
    for event in rows:
        payload = event.payload
        found[payload["key"]] = Fact(
            deck=deck,
            visit=payload.get("visit"),
            key=payload["key"],
            value=payload["value"],
            by=event.by,
            at=event.at,
            photos=tuple(payload.get("photos", ())),
        )
    return {key: fact for key, fact in sorted(found.items()) if fact.value is not None}


@query
def findings(connection: Connection, deck: str) -> list[Finding]:
    """Return the findings on a deck, in order."""
    return [
        Finding(
            id=event.hash[:12],
            deck=deck,
            visit=event.payload.get("visit"),
            tier=event.payload["tier"],
            text=event.payload.get("text") or "(text deleted)",
            by=event.by,
            at=event.at,
            photos=tuple(event.payload.get("photos", ())),
            place=event.payload.get("place"),
            how=event.payload.get("how", "seen"),
        )
        for event in statements(connection, "finding", deck)
    ]


@query
def person_tier(connection: Connection, deck: str, visit: str | None = ANY_VISIT) -> PersonTier | None:
    """Return the tier that a person set last, or null."""
    rows = _up_to(statements(connection, "tier", deck), visit)
    if not rows:
        return None
    event = rows[-1]
    payload = event.payload
    return PersonTier(
        deck, payload["tier"], payload.get("why") or "", event.by, event.at, payload.get("visit")
    )


@query
def warnings(connection: Connection, deck: str) -> list[Warned]:
    """Return who was told of a stop-use, in order."""
    return [
        Warned(
            deck,
            event.payload.get("told") or "",
            event.payload.get("how") or "",
            event.payload["told_at"],
            event.by,
            event.at,
        )
        for event in statements(connection, "warned", deck)
    ]


@query
def lifts(connection: Connection, deck: str) -> list[Lift]:
    """Return the liftings of a stop-use, in order."""
    return [
        Lift(deck, event.payload.get("why") or "", event.payload["after"], event.by, event.at)
        for event in statements(connection, "lifted", deck)
    ]


@query
def closings(connection: Connection, deck: str) -> list[Closing]:
    """Return the closed concerns, in order."""
    return [
        Closing(
            deck=deck,
            rule=event.payload["rule"],
            place=event.payload.get("place"),
            before=event.payload["before"],
            after=event.payload["after"],
            why=event.payload.get("why") or "",
            by=event.by,
            at=event.at,
            visit=event.payload.get("visit"),
            same_place=bool(event.payload.get("same_place")),
        )
        for event in statements(connection, "closed", deck)
    ]


@query
def deck_private(connection: Connection, deck: str) -> dict[str, str]:
    """Return the private fields of a deck."""
    found = {}
    for event in statements(connection, "deck-set", deck):
        if event.payload.get("text"):
            found[event.payload["field"]] = event.payload["text"]
    return found
