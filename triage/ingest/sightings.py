"""What sorting by time and place knows of a photo, with what cannot be true left out.

A time is left out where the year cannot be right, or where most photos of a phone bear the same second (a
copying tool wrote it). A position is left out at 0, 0 and where it was measured long before the photo.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import groupby
from pathlib import PurePosixPath
from typing import Any

FIRST_YEAR = 2000
"""No phone took digital photos of decks before (common practice): an older time is a clock that was reset."""
ONE_SECOND_SHARE, ONE_SECOND_LEAST = 0.6, 6
"""So large a share of at least so many photos at one second means that the times were written by a tool."""
STALE_FIX_S = 180.0
"""A position measured longer before the photo than this may be that of the stop before (common practice)."""
DEFAULT_ERROR_M = 8.0
"""Error of a phone's position where the file states none: 4.9 m under open sky (van Diggelen and Enge 2015,
as quoted by GPS.gov), more next to a house (common practice)."""
LEAST_ERROR_M, MOST_ERROR_M = 4.0, 150.0
METERS_A_DEGREE = 111_195.0
"""Of a great circle on a sphere of radius 6371 km (calculation)."""
_SERIALS = ("EXIF BodySerialNumber", "MakerNote SerialNumber")
_COUNTER = re.compile(r"(\D*)(\d{3,6})(?:[ _-]?\(\d{1,2}\)|[ _-]\d)?")


@dataclass(frozen=True)
class Sighting:
    """One photo as sorting sees it.

    `key` names it for the caller, `phone` tells cameras apart and is sure where a serial is known, `at_s`
    are seconds of the phone's own clock (null without a time that can be used), `day` is that clock's date
    and `clock_s` its reading without the zone, `place` is (latitude, longitude) in degrees, `error_m` the
    stated or usual error of the position.
    """

    key: str
    phone: str
    name: str
    at_s: float | None = None
    zoned: bool = False
    day: str | None = None
    clock_s: float | None = None
    place: tuple[float, float] | None = None
    error_m: float = DEFAULT_ERROR_M
    sure_phone: bool = False
    deck: str | None = None
    """The deck it is at already (from an earlier run, or a card that it follows).

    Null for a photo to be sorted.
    """

    @property
    def counter(self) -> tuple[str, int] | None:
        """The part before the counter in the camera's file name, and the counter."""
        return counter_of(self.name)


def counter_of(name: str) -> tuple[str, int] | None:
    """Return the prefix and counter of a camera's file name (`IMG_0412.jpg`), or null.

    A short number behind it (`IMG_0412 (1)`, `IMG_0412-2`) was added when two files of one name met.
    """
    match = _COUNTER.fullmatch(PurePosixPath(name).stem)
    return (match[1].lower().removesuffix("e"), int(match[2])) if match else None


def sighting(
    key: str, name: str, taken_at: str | None, camera: str | None, private: Mapping[str, Any]
) -> Sighting:
    """Return what sorting may use of one photo. `name` is its path below the folder that was given."""
    serial = next((str(private[one]) for one in _SERIALS if one in private), None)
    where = PurePosixPath(name).parent.as_posix()
    phone = f"{camera or 'camera'} {serial or f'in {where}'}"
    read = _seconds(taken_at)
    found = Sighting(
        key, phone, PurePosixPath(name).name, sure_phone=serial is not None, **_place(private, taken_at)
    )
    if read is None or taken_at is None:
        return found
    return replace(found, zoned=read[0], at_s=read[1], day=taken_at[:10], clock_s=clock_seconds(taken_at))


def _seconds(taken_at: str | None) -> tuple[bool, float] | None:
    """Return whether a time has a zone, and its seconds; null for no time or one that cannot be right."""
    if not taken_at:
        return None
    try:
        moment = datetime.fromisoformat(taken_at)
    except ValueError:
        return None
    zoned = moment.tzinfo is not None
    known = moment if zoned else moment.replace(tzinfo=UTC)
    if known.year < FIRST_YEAR or known > datetime.now(UTC) + timedelta(days=2):
        return None
    return zoned, known.timestamp()


def clock_seconds(time: str) -> float:
    """Return what a clock shows at an ISO 8601 time, in seconds, whatever its zone."""
    return datetime.fromisoformat(time).replace(tzinfo=UTC).timestamp()


def _place(private: Mapping[str, Any], taken_at: str | None) -> dict[str, Any]:
    try:
        latitude, longitude = float(private["latitude"]), float(private["longitude"])
    except (KeyError, TypeError, ValueError):
        return {}
    if not (math.isfinite(latitude) and math.isfinite(longitude)) or (latitude == 0 and longitude == 0):
        return {}
    if _is_stale(private.get("position_at"), taken_at):
        return {}
    stated = private.get("position_error_m")
    error = float(stated) if stated else DEFAULT_ERROR_M
    if error > MOST_ERROR_M:
        return {}
    return {"place": (latitude, longitude), "error_m": max(LEAST_ERROR_M, error)}


def _is_stale(fixed_at: str | None, taken_at: str | None) -> bool:
    """Whether a position was measured long before its photo; only known where the photo's time has a zone."""
    if not fixed_at or not taken_at:
        return False
    try:
        taken, fixed = datetime.fromisoformat(taken_at), datetime.fromisoformat(fixed_at)
    except ValueError:
        return False
    if taken.tzinfo is None or fixed.tzinfo is None:
        return False
    return abs((taken - fixed).total_seconds()) > STALE_FIX_S


def without_copied_times(photos: Iterable[Sighting]) -> list[Sighting]:
    """Return the photos, those without a time whose phone wrote one and the same second on most of them."""
    given = list(photos)
    by_phone: dict[str, list[Sighting]] = defaultdict(list)
    for one in given:
        by_phone[one.phone].append(one)
    useless: set[tuple[str, float]] = set()
    for phone, some in by_phone.items():
        times = Counter(one.at_s for one in some if one.at_s is not None)
        for at_s, count in times.items():
            if count >= ONE_SECOND_LEAST and count > ONE_SECOND_SHARE * len(some):
                useless.add((phone, at_s))
    return [
        replace(one, at_s=None, day=None, clock_s=None)
        if one.at_s is not None and (one.phone, one.at_s) in useless
        else one
        for one in given
    ]


FROZEN_LEAST, FROZEN_S = 4, 60.0
"""So many photos of one phone in a row, over so many seconds, with exactly one position: it was not measured
again but is the last one that the phone knew (common practice)."""


def without_frozen_places(lane: Sequence[Sighting]) -> list[Sighting]:
    """Return a lane's photos, without positions that repeat to the last digit."""
    found: list[Sighting] = []
    for place, group in groupby(lane, key=lambda one: one.place):
        some = list(group)
        lasted = (some[-1].at_s or 0.0) - (some[0].at_s or 0.0)
        is_frozen = place is not None and len(some) >= FROZEN_LEAST and lasted >= FROZEN_S
        found += [replace(one, place=None) for one in some] if is_frozen else some
    return found


def lanes(photos: Sequence[Sighting]) -> list[list[Sighting]]:
    """Return one list a phone of the photos with a time, in the order in which they were taken.

    Two phones of one make without serials lie in one heap under one name, and a clock may jump: where the
    counters of file names run side by side or back, each run of the counter is a lane of its own. Times with
    a zone and times without one are lanes of their own.
    """
    by_phone: dict[tuple[str, bool], list[Sighting]] = defaultdict(list)
    for one in photos:
        if one.at_s is not None:
            by_phone[one.phone, one.zoned].append(one)
    found = []
    for _, some in sorted(by_phone.items()):
        some.sort(key=lambda one: (one.at_s or 0.0, one.name))
        found += [without_frozen_places(one) for one in _by_counter(some)]
    return found


_NEAR_COUNT, _TURN = 60, 9999
"""Counters of neighboring photos of one phone are at most so far apart (others were deleted)."""


_SCRAMBLED = 0.1
"""So large a share of close photos whose counters run backward shows that the files were renumbered."""


def _is_renumbered(photos: Sequence[Sighting]) -> bool:
    """Whether the numbers in the file names are not the camera's: they do not follow its times."""
    close = backward = 0
    for before, after in zip(photos, photos[1:], strict=False):
        one, other = before.counter, after.counter
        if one is None or other is None or (after.at_s or 0) - (before.at_s or 0) > 120:
            continue
        close += 1
        backward += one[0] == other[0] and 0 < one[1] - other[1] <= _NEAR_COUNT
    return backward > _SCRAMBLED * close


def _by_counter(photos: list[Sighting]) -> list[list[Sighting]]:
    if any(one.counter is None for one in photos) or _is_renumbered(photos):
        return [photos]
    chains: list[list[Sighting]] = []
    for one in photos:
        near = [(step, chain) for chain in chains if (step := _step(chain[-1], one)) is not None]
        if near:
            min(near, key=lambda pair: pair[0])[1].append(one)
        else:
            chains.append([one])
    chains.sort(key=lambda chain: chain[0].at_s or 0.0)
    joined: list[list[Sighting]] = []
    for chain in chains:
        free = [one for one in joined if (one[-1].at_s or 0.0) < (chain[0].at_s or 0.0)]
        if free and len(joined) == 1:
            free[0].extend(chain)
        else:
            joined.append(chain)
    return joined


def _step(last: Sighting, one: Sighting) -> int | None:
    before, now = last.counter, one.counter
    if before is None or now is None or before[0] != now[0]:
        return None
    step = (now[1] - before[1]) % _TURN
    if step == 0:
        return None if (one.at_s or 0) - (last.at_s or 0) > 2 else 0
    return step if step <= _NEAR_COUNT else None


def at_deck(photo: Sighting, deck: str) -> Sighting:
    """Return a photo that is at a deck already."""
    return replace(photo, deck=deck)
