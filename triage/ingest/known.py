"""What the library knows about times and places of photos that it holds: private, and never in an event."""

from __future__ import annotations

import json
import statistics
from collections import defaultdict
from collections.abc import Collection, Iterable

from sqlalchemy import Connection, select

from triage.batching import lots
from triage.ingest.sightings import DEFAULT_ERROR_M, Sighting, at_deck, sighting
from triage.library.records import UNSORTED
from triage.library.tables import photo as photo_table
from triage.library.tables import placing
from triage.library.tables import private as private_table

_CHUNK = 500


def sightings_of(connection: Connection, shas: Iterable[str]) -> list[Sighting]:
    """Return photos of the library as sorting sees them, with the deck at which each stands."""
    found = []
    for lot in lots(sorted(shas), _CHUNK):
        query = (
            select(
                photo_table.c.sha,
                photo_table.c.taken_at,
                photo_table.c.camera,
                placing.c.deck,
                placing.c.name,
                private_table.c.text,
            )
            .join(placing, placing.c.key == photo_table.c.sha)
            .outerjoin(private_table, private_table.c.ref == photo_table.c.exif_ref)
            .where(placing.c.current.is_(True), photo_table.c.sha.in_(lot))
        )
        for row in connection.execute(query):
            private = json.loads(row.text) if row.text else {}
            one = sighting(row.sha, row.name, row.taken_at, row.camera, private)
            if row.deck != UNSORTED:
                found.append(at_deck(one, row.deck))
    return found


def middles_of_decks(
    connection: Connection, without: Collection[str] = (), of: Collection[str] | None = None
) -> dict[str, tuple[float, float, float]]:
    """Return (latitude, longitude, error in metres) of the middle of each deck with positions."""
    query = (
        select(placing.c.deck, private_table.c.text)
        .join(photo_table, photo_table.c.exif_ref == private_table.c.ref)
        .join(placing, placing.c.key == photo_table.c.sha)
        .where(placing.c.current.is_(True), placing.c.deck != UNSORTED)
    )
    if of is not None:
        query = query.where(placing.c.deck.in_(sorted(of)))
    places: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for deck, text in connection.execute(query.execution_options(yield_per=5000)):
        if not text or deck in without:
            continue
        private = json.loads(text)
        if "latitude" in private and "longitude" in private:
            places[deck].append((float(private["latitude"]), float(private["longitude"])))
    return {
        deck: (
            statistics.median(one[0] for one in some),
            statistics.median(one[1] for one in some),
            DEFAULT_ERROR_M / min(len(some), 3) ** 0.5,
        )
        for deck, some in places.items()
    }
