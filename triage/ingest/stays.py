"""Runs of photos that hang together, and where they were taken.

A lane (one phone's photos in order) is cut wherever the person may have gone on: at a pause, and where the
measured place changes. Neighboring runs that surely show one deck are joined again, the surest first.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from triage.ingest.sightings import METERS_A_DEGREE, Sighting
from triage.ingest.walk_model import RHYTHM_S, Evidence, Trust, chance_of_two_decks

CUT_S, CUT_RHYTHMS = 25.0, 2.0
"""A pause of at least so many seconds, and so many times the usual one, may hide a move."""
CUT_M = 20.0
"""So much beyond the errors of two positions may be a change of place."""
SPREAD_M = 45.0
"""Two halves of one run whose places lie farther apart than this (and their errors) may be two decks."""
OVERNIGHT_S = 6 * 3600.0
"""After so long a pause its length tells nothing more."""
LAG_PAUSE_S, LAG_STEP_S, LAG_DRIVE_M_S = 180.0, 45.0, 25.0
"""On arrival a phone may bear the last stop's place: after at least such a pause and drive, until it
measures again between two photos of its usual rhythm."""
_TRIED = 60
"""So many places at which a run may fall apart are tried."""


@dataclass
class Run:
    """Photos of one lane that hang together. `places` are those that tell where it is, settled ones first."""

    lane: int
    photos: list[Sighting]
    settled: list[Sighting] = field(default_factory=list)

    @property
    def first_s(self) -> float | None:
        """When it began, on its phone's clock."""
        return min((one.at_s for one in self.photos if one.at_s is not None), default=None)

    @property
    def last_s(self) -> float | None:
        """When it ended, on its phone's clock."""
        return max((one.at_s for one in self.photos if one.at_s is not None), default=None)

    @property
    def zoned(self) -> bool:
        """Whether its times have a zone."""
        return self.photos[0].zoned

    def located(self) -> tuple[tuple[float, float], float, int] | None:
        """Return (latitude, longitude), error in meters and number of positions; null where none is known."""
        return middle_of(self.settled)


def middle_of(photos: Sequence[Sighting]) -> tuple[tuple[float, float], float, int] | None:
    """Return the middle of the positions of some photos, its error in meters, and how many there are."""
    places = [(one.place, one.error_m) for one in photos if one.place is not None]
    if not places:
        return None
    latitude = statistics.median(place[0] for place, _ in places)
    longitude = statistics.median(place[1] for place, _ in places)
    error = statistics.median(error for _, error in places)  # common to a stop: more photos do not lessen it
    return (latitude, longitude), error, len(places)


def meters(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Return the distance of two places in meters, exact enough up to some hundred kilometers."""
    east = (second[1] - first[1]) * math.cos(math.radians((first[0] + second[0]) / 2))
    return METERS_A_DEGREE * math.hypot(second[0] - first[0], east)


def rhythm_of(lane: Sequence[Sighting]) -> float:
    """Return the usual seconds between neighboring photos of a lane."""
    steps = [
        (after.at_s or 0.0) - (before.at_s or 0.0) for before, after in zip(lane, lane[1:], strict=False)
    ]
    near = [step for step in steps if 0 <= step <= 300]
    if len(near) < 4:
        return RHYTHM_S
    return min(30.0, max(6.0, statistics.median(near)))


def cut(lane: Sequence[Sighting], number: int, rhythm_s: float) -> list[Run]:
    """Cut a lane wherever its person may have gone on."""
    runs: list[list[Sighting]] = [[lane[0]]]
    last = lane[0] if lane[0].place else None
    for one in lane[1:]:
        pause = (one.at_s or 0.0) - (runs[-1][-1].at_s or 0.0)
        moved = (
            last is not None
            and last.place is not None
            and one.place is not None
            and meters(last.place, one.place) > CUT_M + 2 * math.hypot(last.error_m, one.error_m)
        )
        if pause > max(CUT_S, CUT_RHYTHMS * rhythm_s) or moved:
            runs.append([one])
        else:
            runs[-1].append(one)
        last = one if one.place else last
    return [Run(number, some, [one for one in some if one.place]) for some in runs]


def evidence(first: Run, second: Run, rhythm_s: float = RHYTHM_S) -> Evidence:
    """Return what is known of two runs of which the second follows the first in one lane."""
    here, there = first.located(), second.located()
    between = (second.first_s or 0.0) - (first.last_s or 0.0)
    pause = between if between <= OVERNIGHT_S else None
    counted = _one_phone(first.photos[-1], second.photos[0])
    if here is None or there is None:
        return Evidence(pause, None, rhythm_s=rhythm_s, one_phone=counted)
    return Evidence(
        pause,
        meters(here[0], there[0]),
        math.hypot(here[1], there[1]),
        min(here[2], there[2]),
        rhythm_s,
        counted,
    )


def _one_phone(last: Sighting, one: Sighting) -> bool:
    if last.sure_phone and one.sure_phone:
        return True
    before, now = last.counter, one.counter
    return before is not None and now is not None and before[0] == now[0] and abs(now[1] - before[1]) <= 3


def join(runs: list[Run], rhythm_s: float, trust: Trust) -> list[Run]:
    """Join neighboring runs that surely show one deck, the surest first."""
    runs = list(runs)
    chances = [_chance(runs, place, rhythm_s, trust) for place in range(len(runs) - 1)]
    while chances:
        least = min(range(len(chances)), key=chances.__getitem__)
        if chances[least] > trust.same:
            break
        runs[least : least + 2] = [_joined(runs[least], runs[least + 1])]
        del chances[least]
        for place in (least - 1, least, least + 1):
            if 0 <= place < len(chances):
                chances[place] = _chance(runs, place, rhythm_s, trust)
    return runs


def _chance(runs: Sequence[Run], place: int, rhythm_s: float, trust: Trust) -> float:
    seen = evidence(runs[place], runs[place + 1], rhythm_s)
    if place and not seen.one_phone and _lags(*runs[place - 1 : place + 2]):
        seen = replace(seen, one_phone=True)
    return chance_of_two_decks(seen, trust)


def _lags(before: Run, first: Run, second: Run) -> bool:
    """Whether a run bears the place of the one before it although there was time to get to the next one's.

    A phone does so on arrival, until it measures again; another phone would not begin just then and there.
    """
    stops = [run.located() for run in (before, first, second)]
    if stops[0] is None or stops[1] is None or stops[2] is None:
        return False
    pause = (first.first_s or 0.0) - (before.last_s or 0.0)
    step = (second.first_s or 0.0) - (first.last_s or 0.0)
    away = meters(stops[1][0], stops[2][0])
    stayed = meters(stops[0][0], stops[1][0]) <= CUT_M
    return stayed and step <= LAG_STEP_S and pause >= max(LAG_PAUSE_S, away / LAG_DRIVE_M_S)


def _joined(first: Run, second: Run) -> Run:
    """Join two runs; where their places differ, the later one counts: a phone's position lags on arrival."""
    here, there = first.located(), second.located()
    settled = first.settled + second.settled
    if here and there and meters(here[0], there[0]) > CUT_M + 3 * math.hypot(here[1], there[1]):
        settled = second.settled if there[2] >= 2 or there[2] >= here[2] else first.settled
    return Run(first.lane, first.photos + second.photos, settled)


def spread_out(run: Run) -> list[Run]:
    """Cut a run whose first and last photos were taken at two places, although no pause shows it."""
    placed = [one for one in run.settled if one.place is not None]
    best, at = 0.0, 0
    for place in range(3, len(placed) - 2, 1 + len(placed) // _TRIED):
        here, there = middle_of(placed[:place]), middle_of(placed[place:])
        if here is None or there is None:
            continue
        apart = meters(here[0], there[0]) - 3 * math.hypot(here[1], there[1])
        if apart > best:
            best, at = apart, place
    if best <= SPREAD_M:
        return [run]
    keys = {one.key for one in placed[at:]}
    edge = next(place for place, one in enumerate(run.photos) if one.key in keys)
    halves = run.photos[:edge], run.photos[edge:]
    return [Run(run.lane, list(half), [one for one in half if one.place]) for half in halves]
