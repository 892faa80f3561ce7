"""A day as it was walked: one lane a phone, one bar a stay, and where the decks lie to each other.

Places are given in meters from the middle of the day's decks, never as positions.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from triage.errors import BadInput
from triage.ingest.deck_acts import moves
from triage.ingest.known import middles_of_decks
from triage.ingest.sightings import METERS_A_DEGREE, clock_seconds
from triage.library import Library, queries
from triage.library.records import UNSORTED, Photo

_DAY_S = 86_400.0


@dataclass(frozen=True)
class Bar:
    """Photos of one phone at one deck, one after the other; seconds are those of the day's clock."""

    deck: str
    photos: tuple[Photo, ...]
    first_s: float
    last_s: float

    @property
    def waits(self) -> bool:
        """Whether its photos are at no deck."""
        return self.deck == UNSORTED


@dataclass(frozen=True)
class Lane:
    """One phone's day."""

    phone: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class Dot:
    """A deck's place in meters east and north of the middle of the day's decks."""

    deck: str
    east_m: float
    north_m: float


@dataclass(frozen=True)
class Day:
    """One day: its lanes, its decks by place, and from when to when photos were taken."""

    day: str
    lanes: tuple[Lane, ...]
    dots: tuple[Dot, ...]
    first_s: float
    last_s: float

    @property
    def decks(self) -> list[str]:
        """The day's decks in the order of their first photo."""
        bars = sorted((bar for lane in self.lanes for bar in lane.bars), key=lambda bar: bar.first_s)
        return list(dict.fromkeys(bar.deck for bar in bars if not bar.waits))


def days_of(library: Library) -> list[tuple[str, int]]:
    """Return (day, photos) of every day on which photos were taken, by the cameras' clocks."""
    counts = Counter(photo.taken_at[:10] for photo in queries.photos(library) if photo.taken_at)
    return sorted(counts.items())


def day_of(library: Library, day: str) -> Day:
    """Return one day. Raises BadInput where no photo was taken on it."""
    photos = [photo for photo in queries.photos(library) if photo.taken_at and photo.taken_at[:10] == day]
    if not photos:
        raise BadInput(f"No photo was taken on {day}.", "Choose a day from the list.")
    by_phone: dict[str, list[Photo]] = defaultdict(list)
    for photo in photos:
        by_phone[photo.camera or "Unknown phone"].append(photo)
    lanes = tuple(Lane(phone, _bars(some)) for phone, some in sorted(by_phone.items()))
    times = [second_of(photo) for photo in photos]
    return Day(day, lanes, _dots(library, {photo.deck for photo in photos}), min(times), max(times))


def second_of(photo: Photo) -> float:
    """Return the second of the day on the camera's clock."""
    return clock_seconds(photo.taken_at or "1970-01-01") % _DAY_S


def _bars(photos: Sequence[Photo]) -> tuple[Bar, ...]:
    ordered = sorted(photos, key=lambda photo: (second_of(photo), photo.name))
    found = []
    for deck, group in groupby(ordered, key=lambda photo: photo.deck):
        some = tuple(group)
        found.append(Bar(deck, some, second_of(some[0]), second_of(some[-1])))
    return tuple(found)


def _dots(library: Library, decks: set[str]) -> tuple[Dot, ...]:
    with library.read() as connection:
        middles = middles_of_decks(connection, of=decks)
    if not middles:
        return ()
    north = statistics.mean(one[0] for one in middles.values())
    east = statistics.mean(one[1] for one in middles.values())
    narrow = math.cos(math.radians(north))
    return tuple(
        Dot(deck, (one[1] - east) * METERS_A_DEGREE * narrow, (one[0] - north) * METERS_A_DEGREE)
        for deck, one in sorted(middles.items())
    )


def shift(library: Library, day: str, phone: str, left: str, right: str, at_s: float, *, by: str) -> int:
    """Put the boundary between two neighboring stays of one phone at a second of the day, as one act.

    Returns how many photos moved. Raises BadInput where the two are not neighbors, or nothing would be left
    of one of them.
    """
    lane = next((one for one in day_of(library, day).lanes if one.phone == phone), None)
    pairs = zip(lane.bars, lane.bars[1:], strict=False) if lane else ()
    pair = next(((one, two) for one, two in pairs if (one.deck, two.deck) == (left, right)), None)
    if pair is None:
        raise BadInput("These two stays are not neighbors any more.", "Load the page again.")
    photos = [*pair[0].photos, *pair[1].photos]
    target = {photo.sha: left if second_of(photo) < at_s else right for photo in photos}
    if len(set(target.values())) < 2:
        raise BadInput("Nothing would be left of one of the two stays.", "Use Join to make one deck of both.")
    moving = [photo for photo in photos if photo.deck != target[photo.sha]]

    library.say_after(
        lambda connection: [
            said
            for deck in (left, right)
            for said in moves(connection, [one for one in moving if target[one.sha] == deck], deck, by)
        ]
    )
    return len(moving)
