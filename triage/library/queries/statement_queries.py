"""Statements about decks: facts, findings, tiers, warnings, closings and the like."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select

from triage.batching import lots
from triage.library.log import Event, Names, from_row
from triage.library.queries.asking import ANY_VISIT, query
from triage.library.queries.event_queries import with_texts
from triage.library.records import Closing, Fact, Finding, Lift, PersonTier, Warned
from triage.library.tables import event as event_table
from triage.library.tables import statement

_CHUNK = 500


@query
def statements(connection: Connection, kind: str, deck: str | None = None) -> list[Event]:
    """Return the current statements of a kind, in order, with private texts put back.

    Each names the deck and visit that it belongs to now, if it was moved since it was recorded.
    """
    return _current(connection, [kind], deck)


@query
def settlements(
    connection: Connection, pairs: Collection[tuple[str, str]] | None = None
) -> dict[tuple[str, str], Event]:
    """Return the last settlement of each photo x tag, of some pairs or of all."""
    kind = "settled"
    if pairs is None:
        events = _current(connection, [kind])
    else:
        one = select(statement.c.event).where(statement.c.current.is_(True), statement.c.kind == kind)
        if connection.execute(one.limit(1)).first() is None:
            return {}
        keys = [json.dumps([kind, photo, tag]) for photo, tag in sorted(pairs)]
        events = [event for lot in lots(keys, _CHUNK) for event in _current(connection, [kind], keys=lot)]
    return {(event.payload["photo"], event.payload["tag"]): event for event in events}


def _current(
    connection: Connection,
    kinds: Sequence[str],
    deck: str | None = None,
    keys: Sequence[str] | None = None,
) -> list[Event]:
    found = (
        select(event_table, statement.c.payload.label("carried"))
        .join(statement, statement.c.event == event_table.c.hash)
        .where(statement.c.current.is_(True), statement.c.kind.in_(kinds))
        .order_by(statement.c.lamport, statement.c.log_id, statement.c.seq)
    )
    if deck is not None:
        found = found.where(statement.c.deck == deck)
    if keys is not None:
        found = found.where(statement.c.key.in_(keys))
    names = Names(connection)
    return [
        with_texts(from_row({key: row[key] for key in row if key != "carried"}, names), names, row["carried"])
        for row in connection.execute(found).mappings()
    ]


def _up_to(events: Iterable[Event], visit: str | None) -> list[Event]:
    if visit == ANY_VISIT:
        return list(events)
    return [event for event in events if (event.payload.get("visit") or "") <= (visit or "")]


@dataclass(frozen=True)
class DeckStatements:
    """What was said of one deck, by kind, in order: read once, however many records are made of it."""

    deck: str
    said: Mapping[str, Sequence[Event]]

    def facts(self, visit: str | None = ANY_VISIT) -> dict[str, Fact]:
        """Return the latest value of each fact, by visit first and then by the order of recording."""
        found: dict[str, Fact] = {}
        rows = _up_to(self.said["fact"], visit)
        rows.sort(key=lambda event: event.payload.get("visit") or "")
        for event in rows:
            payload = event.payload
            found[payload["key"]] = Fact(
                deck=self.deck,
                visit=payload.get("visit"),
                key=payload["key"],
                value=payload["value"],
                by=event.by,
                at=event.at,
                photos=tuple(payload.get("photos", ())),
            )
        return {key: fact for key, fact in sorted(found.items()) if fact.value is not None}

    def findings(self) -> list[Finding]:
        """Return the findings, in order."""
        return [
            Finding(
                id=event.hash[:12],
                deck=self.deck,
                visit=event.payload.get("visit"),
                tier=event.payload["tier"],
                text=event.payload.get("text") or "(text deleted)",
                by=event.by,
                at=event.at,
                photos=tuple(event.payload.get("photos", ())),
                place=event.payload.get("place"),
                how=event.payload.get("how", "seen"),
            )
            for event in self.said["finding"]
        ]

    def person_tier(self, visit: str | None = ANY_VISIT) -> PersonTier | None:
        """Return the tier that a person set last, or null."""
        rows = _up_to(self.said["tier"], visit)
        if not rows:
            return None
        event = rows[-1]
        payload = event.payload
        return PersonTier(
            self.deck, payload["tier"], payload.get("why") or "", event.by, event.at, payload.get("visit")
        )

    def closings(self) -> list[Closing]:
        """Return the closed concerns, in order."""
        return [
            Closing(
                deck=self.deck,
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
            for event in self.said["closed"]
        ]


@query
def deck_statements(
    connection: Connection, deck: str, kinds: Sequence[str] = ("fact", "finding", "tier", "closed")
) -> DeckStatements:
    """Return the current statements of some kinds about a deck."""
    said: dict[str, list[Event]] = {kind: [] for kind in kinds}
    for event in _current(connection, kinds, deck):
        said[event.kind].append(event)
    return DeckStatements(deck, said)


@query
def facts(connection: Connection, deck: str, visit: str | None = ANY_VISIT) -> dict[str, Fact]:
    """Return the latest value of each fact at a visit or an earlier one."""
    return deck_statements(connection, deck, ["fact"]).facts(visit)


@query
def findings(connection: Connection, deck: str) -> list[Finding]:
    """Return the findings on a deck, in order."""
    return deck_statements(connection, deck, ["finding"]).findings()


@query
def person_tier(connection: Connection, deck: str, visit: str | None = ANY_VISIT) -> PersonTier | None:
    """Return the tier that a person set last, or null."""
    return deck_statements(connection, deck, ["tier"]).person_tier(visit)


@query
def closings(connection: Connection, deck: str) -> list[Closing]:
    """Return the closed concerns, in order."""
    return deck_statements(connection, deck, ["closed"]).closings()


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
def deck_private(connection: Connection, deck: str) -> dict[str, str]:
    """Return the private fields of a deck."""
    found = {}
    for event in statements(connection, "deck-set", deck):
        if event.payload.get("text"):
            found[event.payload["field"]] = event.payload["text"]
    return found
