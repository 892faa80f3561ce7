"""Where photos stand, with what is known of their times and positions (private, and never in an event)."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, select

from triage.batching import lots
from triage.library.queries.asking import query
from triage.library.records import UNSORTED
from triage.library.tables import photo, placing, private

_CHUNK = 500


@query
def photo_states(connection: Connection) -> list[tuple[str, str, str]]:
    """Return (sha, state, suffix) of every photo, forgotten ones too."""
    rows = connection.execute(select(photo.c.sha, photo.c.state, photo.c.suffix))
    return [(sha, state, suffix) for sha, state, suffix in rows]


@query
def forgotten_photos(connection: Connection) -> list[tuple[str, str]]:
    """Return (sha, suffix) of every photo that was removed for good."""
    gone = select(photo.c.sha, photo.c.suffix).where(photo.c.state == "forgotten").order_by(photo.c.sha)
    return [(str(sha), str(suffix)) for sha, suffix in connection.execute(gone)]


@query
def current_placings(connection: Connection) -> list[tuple[str, str, str | None, str, str | None]]:
    """Return (sha, deck, visit, name, origin) of every current placing."""
    columns = (placing.c.sha, placing.c.deck, placing.c.visit, placing.c.name, placing.c.origin)
    rows = connection.execute(select(*columns).where(placing.c.current.is_(True)))
    return [(sha, deck, visit, name, origin) for sha, deck, visit, name, origin in rows]


@query
def placed_originals(connection: Connection) -> list[dict[str, Any]]:
    """Return sha, suffix, deck, visit and name of every placed photo, by deck and name."""
    found = (
        select(photo.c.sha, photo.c.suffix, placing.c.deck, placing.c.visit, placing.c.name)
        .join(placing, and_(placing.c.key == photo.c.sha, placing.c.current.is_(True)))
        .where(photo.c.state == "here")
        .order_by(placing.c.deck, placing.c.name, photo.c.sha)
    )
    return [dict(row) for row in connection.execute(found).mappings()]


@dataclass(frozen=True)
class PlacedExif:
    """A placed photo with its time, its camera and its private EXIF (empty where it was deleted)."""

    sha: str
    taken_at: str | None
    camera: str | None
    deck: str
    name: str
    private: dict[str, Any]


@query
def placed_exif(connection: Connection, shas: Iterable[str]) -> list[PlacedExif]:
    """Return what is known of some placed photos, those that wait for a deck too, by hash."""
    found = []
    for lot in lots(sorted(shas), _CHUNK):
        rows = (
            select(
                photo.c.sha, photo.c.taken_at, photo.c.camera, placing.c.deck, placing.c.name, private.c.text
            )
            .join(placing, placing.c.key == photo.c.sha)
            .outerjoin(private, private.c.ref == photo.c.exif_ref)
            .where(placing.c.current.is_(True), photo.c.sha.in_(lot))
        )
        for row in connection.execute(rows):
            exif = json.loads(row.text) if row.text else {}
            found.append(PlacedExif(row.sha, row.taken_at, row.camera, row.deck, row.name, exif))
    return found


def private_exif_by_deck(
    connection: Connection, decks: Collection[str] | None = None
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield (deck, private EXIF) of placed photos that have one, of some decks or of all that are decks."""
    found = (
        select(placing.c.deck, private.c.text)
        .join(photo, photo.c.exif_ref == private.c.ref)
        .join(placing, placing.c.key == photo.c.sha)
        .where(placing.c.current.is_(True))
    )
    found = found.where(placing.c.deck != UNSORTED if decks is None else placing.c.deck.in_(sorted(decks)))
    for deck, text in connection.execute(found.execution_options(yield_per=5000)):
        if text:
            yield deck, json.loads(text)
