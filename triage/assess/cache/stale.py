"""Marks what is kept of a deck as out of date when something new is recorded about it.

A mark is made in the transaction that records the news, so that nothing kept is ever taken for fresh. One
mark too many costs time, one too few would show an old tier: an event of a kind not known here marks all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from triage.library import assessment_rows, queries
from triage.library.database import Connection
from triage.library.log import Event

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


def events_added(connection: Connection, events: Sequence[Event]) -> None:
    """Mark the decks that events speak of; events of `undone` acts are looked up."""
    if not assessment_rows.any_kept(connection):
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
            of_act = queries.events_of_act(connection, payload["act"])
            _mark(connection, [(one.kind, one.payload) for one in of_act if one.kind != "undone"])
        elif kind not in _OF_NONE and kind not in _BY_BASIS:
            assessment_rows.mark_all(connection)
            return
    assessment_rows.mark_photos(connection, shas)
    assessment_rows.mark_decks(connection, decks)


def photos_changed(connection: Connection, shas: Iterable[str]) -> None:
    """Mark every deck that photos are at or have ever been at."""
    assessment_rows.mark_photos(connection, shas)


def photos_dropped(connection: Connection, shas: Iterable[str]) -> int:
    """Drop what is kept of every deck that photos are or have ever been at; returns how many rows there were.

    Kept summaries hold texts, such as places, in plain writing.
    """
    return assessment_rows.drop_photos(connection, shas)


def all_changed(connection: Connection) -> None:
    """Mark all decks."""
    assessment_rows.mark_all(connection)


def all_dropped(connection: Connection) -> None:
    """Drop everything that is kept, the texts in it too."""
    assessment_rows.drop_all(connection)
