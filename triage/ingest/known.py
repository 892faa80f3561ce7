"""What the library knows about times and places of photos that it holds: private, and never in an event."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Collection, Iterable

from triage.ingest.placing import position
from triage.ingest.sightings import DEFAULT_ERROR_M, Sighting, at_deck, sighting
from triage.library import queries
from triage.library.database import Connection
from triage.library.records import UNSORTED


def sightings_of(connection: Connection, shas: Iterable[str]) -> list[Sighting]:
    """Return photos of the library as sorting sees them, with the deck at which each stands."""
    found = []
    for row in queries.placed_exif(connection, shas):
        one = sighting(row.sha, row.name, row.taken_at, row.camera, row.private)
        if row.deck != UNSORTED:
            found.append(at_deck(one, row.deck))
    return found


def middles_of_decks(
    connection: Connection, without: Collection[str] = (), of: Collection[str] | None = None
) -> dict[str, tuple[float, float, float]]:
    """Return (latitude, longitude, error in meters) of the middle of each deck with positions."""
    places: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for deck, exif in queries.private_exif_by_deck(connection, of):
        if deck not in without and deck != UNSORTED and (place := position(exif)) is not None:
            places[deck].append(place)
    return {
        deck: (
            statistics.median(one[0] for one in some),
            statistics.median(one[1] for one in some),
            DEFAULT_ERROR_M / min(len(some), 3) ** 0.5,
        )
        for deck, some in places.items()
    }
