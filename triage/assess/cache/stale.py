"""Marks what is kept of a deck as out of date when something new is recorded about it.

A mark is made in the transaction that records the news, so that nothing kept is ever taken for fresh. One
mark too many costs time, one too few would show an old tier: an event of a kind not known here marks all.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, delete, select, true, update

from triage.batching import lots
from triage.library.log import Event
from triage.library.tables import event as event_table
from triage.library.tables import placing, standing, standing_summary

_OF_PHOTO = ("label", "settled", "forgotten")
_OF_DECK = (
    "fact",
    "finding",
    "tier",
    "warned",
    "lifted",
    "closed",
    "deck-set",
    "repair-done",
    "placed",
    "moved",
    "deck-changed",
)
_OF_NONE = ("photo-added", "issued", "repairs-read", "asked", "set-aside", "set-aside-done")
_BY_BASIS = ("trained", "presorted", "audited", "tag-added")
"""They change the model, its promise or the tags, which every kept row names as what it rests on."""
_CHUNK = 500


def events_added(connection: Connection, events: Sequence[Event]) -> None:
    """Mark the decks that events speak of; events of `undone` acts are looked up."""
    if connection.execute(select(standing.c.deck).limit(1)).first() is None:
        return
    _mark(connection, [(event.kind, event.payload) for event in events])


def _mark(connection: Connection, said: Iterable[tuple[str, Mapping[str, Any]]]) -> None:
    decks: set[str] = set()
    shas: set[str] = set()
    for kind, payload in said:
        if kind in _OF_PHOTO:
            shas.add(str(payload.get("photo") or payload.get("sha")))
        elif kind in _OF_DECK:
            decks |= {str(payload[key]) for key in ("deck", "from") if payload.get(key)}
            if kind in ("placed", "moved"):
                shas.add(str(payload["sha"]))
        elif kind == "undone":
            of_act = select(event_table.c.kind, event_table.c.payload)
            rows = connection.execute(of_act.where(event_table.c.act == payload["act"]))
            _mark(connection, [(row.kind, json.loads(row.payload)) for row in rows if row.kind != "undone"])
        elif kind not in _OF_NONE and kind not in _BY_BASIS:
            all_changed(connection)
            return
    photos_changed(connection, shas)
    for chunk in lots(sorted(decks), _CHUNK):
        _out_of_date(connection, standing.c.deck.in_(chunk))


def photos_changed(connection: Connection, shas: Iterable[str]) -> None:
    """Mark every deck that photos are at or have ever been at."""
    for chunk in lots(sorted(set(shas)), _CHUNK):
        ever_at = select(placing.c.deck).where(placing.c.key.in_(chunk))
        _out_of_date(connection, standing.c.deck.in_(ever_at))


def photos_dropped(connection: Connection, shas: Iterable[str]) -> int:
    """Drop what is kept of every deck that photos are or have ever been at; returns how many rows there were.

    Kept summaries hold texts, such as places, in plain writing.
    """
    dropped = 0
    for chunk in lots(sorted(set(shas)), _CHUNK):
        decks = list(connection.execute(select(placing.c.deck).where(placing.c.key.in_(chunk))).scalars())
        for some in lots(sorted(set(decks)), _CHUNK):
            for table in (standing, standing_summary):
                dropped += connection.execute(delete(table).where(table.c.deck.in_(some))).rowcount
    return dropped


def all_changed(connection: Connection) -> None:
    """Mark all decks."""
    _out_of_date(connection, true())


def all_dropped(connection: Connection) -> None:
    """Drop everything that is kept, the texts in it too."""
    connection.execute(delete(standing))
    connection.execute(delete(standing_summary))


def _out_of_date(connection: Connection, which: ColumnElement[bool]) -> None:
    connection.execute(update(standing).where(which).values(basis="", said=standing.c.said + 1))
