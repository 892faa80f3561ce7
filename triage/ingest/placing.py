"""Which deck, visit and name a photo gets, and the questions that stop a wrong merge.

A second folder of a deck's name that lies elsewhere, or whose photos were taken far away, may be another
house: its photos are set aside with a question until a person settles it.
"""

from __future__ import annotations

import hashlib
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from triage.library import queries
from triage.library.database import Connection
from triage.library.records import UNSORTED

FAR_APART_M = 250.0
"""Meters between the middles of two groups of photos beyond which they are hardly one house (a phone's
position under trees is within tens of meters; common practice)."""
_EARTH_M = 6_371_000.0


@dataclass
class Placed:
    """What the library holds already: names, decks of photos, where each deck's folders came from."""

    deck_of: dict[str, tuple[str, str | None, str]] = field(default_factory=dict)
    names: dict[tuple[str, str | None, str], str] = field(default_factory=dict)
    origins: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    known: set[str] = field(default_factory=set)
    suffixes: dict[str, str] = field(default_factory=dict)
    forgotten: set[str] = field(default_factory=set)
    lamport: int = 0
    """How far the log had come when this was read."""

    @classmethod
    def of(cls, connection: Connection) -> Placed:
        """Read the present placings."""
        found = cls(lamport=queries.lamport(connection))
        for sha, state, suffix in queries.photo_states(connection):
            (found.known if state == "here" else found.forgotten).add(sha)
            found.suffixes[sha] = suffix
        for placing in queries.current_placings(connection):
            found.add(*placing)
        return found

    def add(self, sha: str, deck: str, visit: str | None, name: str, origin: str | None) -> None:
        """Remember a placing."""
        self.deck_of[sha] = (deck, visit, name)
        self.names[deck, visit, name] = sha
        self.known.add(sha)
        if origin and deck != UNSORTED:
            self.origins[deck].add(origin)


def origin_mark(library_id: str, origin: str) -> str:
    """Return a short mark of where a folder lay that does not tell the path."""
    return hashlib.sha256(f"{library_id}:{origin}".encode(errors="surrogateescape")).hexdigest()[:16]


def visit_of(times: Iterable[str | None]) -> str | None:
    """Return the camera's date where all photos have one and share it, else null."""
    dates = {time[:10] if time else None for time in times}
    return dates.pop() if len(dates) == 1 else None


def positions_of(connection: Connection, deck: str) -> list[tuple[float, float]]:
    """Return (latitude, longitude) of a deck's photos, where their private EXIF has one."""
    found = queries.private_exif_by_deck(connection, [deck])
    return [place for _, exif in found if (place := position(exif)) is not None]


def position(private: dict[str, Any] | Any) -> tuple[float, float] | None:
    """Return (latitude, longitude) in degrees of a photo's private EXIF, or null."""
    if "latitude" in private and "longitude" in private:
        return float(private["latitude"]), float(private["longitude"])
    return None


def meters_apart(first: Sequence[tuple[float, float]], second: Sequence[tuple[float, float]]) -> float | None:
    """Return the great-circle distance in meters between the median positions of two groups, or null."""
    if not first or not second:
        return None
    (lat1, lon1), (lat2, lon2) = _median(first), _median(second)
    half = (
        math.sin(math.radians(lat2 - lat1) / 2) ** 2
        + math.cos(math.radians(lat1))
        * math.cos(math.radians(lat2))
        * math.sin(math.radians(lon2 - lon1) / 2) ** 2
    )
    return 2 * _EARTH_M * math.asin(min(1.0, math.sqrt(half)))


def _median(places: Sequence[tuple[float, float]]) -> tuple[float, float]:
    def middle(values: list[float]) -> float:
        values = sorted(values)
        return (values[(len(values) - 1) // 2] + values[len(values) // 2]) / 2

    return middle([place[0] for place in places]), middle([place[1] for place in places])
