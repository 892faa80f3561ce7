"""Sorting photos to decks by time and place: what is sure is placed, what is not becomes a question.

Runs that surely show one deck are joined (`stays`); every pair of runs has a probability of being two decks
(`walk_model`). A run gets a deck of its own only if it is surely another deck than all that were placed
before it, the largest first. Everything else waits with a question that names its reason and a proposal. Two
phones, a return to a place and photos without a time are never combined without a question.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from triage.ingest.sightings import Sighting, lanes, without_copied_times
from triage.ingest.stays import Run, cut, evidence, join, meters, rhythm_of, spread_out
from triage.ingest.walk_model import (
    FLAT_FOLDER,
    NOTHING_SAID,
    Evidence,
    Trust,
    chance_of_two_decks,
    chance_without_order,
)

FEW = 3
"""Fewer photos than this on their own are hardly a deck: a view out of the car, a street sign."""
NEAR_M = 60.0
"""Photos without a time whose positions are linked by steps of at most so many meters are one group."""
_APART_M = 2000.0
_UNTIMED, _UNKNOWN = -1, -2


class Why(StrEnum):
    """Why photos wait for a person, or why a boundary was drawn."""

    PAUSE = "long-pause"
    FAR = "far-apart"
    PHONES = "two-phones"
    RETURN = "return"
    FEW = "few-photos"
    NO_TIME = "no-time"
    KNOWN_PLACE = "known-place"
    SAME_NAME = "same-name"
    NAME_TAKEN = "name-taken"
    NO_CARD = "no-card"
    PLAN = "plan"


@dataclass(frozen=True)
class Doubt:
    """Photos that wait: why, near which deck, what is proposed, and the numbers behind it."""

    why: Why
    keys: tuple[str, ...]
    probability: float
    """Of being another deck than `beside`."""
    proposal: str | None
    beside: str | None = None
    pause_s: float | None = None
    apart_m: float | None = None


@dataclass(frozen=True)
class Boundary:
    """What lies between two neighboring runs of one phone."""

    before: str
    after: str
    why: Why
    probability: float
    pause_s: float | None
    apart_m: float | None


@dataclass
class Sorting:
    """The deck of every photo that is sure (by key), the questions, and the boundaries with their reasons."""

    decks: dict[str, str] = field(default_factory=dict)
    doubts: list[Doubt] = field(default_factory=list)
    boundaries: list[Boundary] = field(default_factory=list)


@dataclass(eq=False)
class _Group:
    """Runs that are one deck as far as is known. `deck` is set where it is already known or was placed."""

    runs: list[Run]
    deck: str | None = None

    @property
    def photos(self) -> list[Sighting]:
        return [one for run in self.runs for one in run.photos]

    @property
    def new(self) -> list[Sighting]:
        return [one for one in self.photos if one.deck is None]

    def order(self) -> tuple[bool, str, float, str]:
        timed = [(one.day or "", one.at_s) for one in self.photos if one.at_s is not None]
        day, at_s = min(timed, default=("", 0.0), key=lambda pair: pair[1] or 0.0)
        return not timed, day, at_s or 0.0, min(one.key for one in self.photos)


def sort_by_walk(
    photos: Iterable[Sighting],
    *,
    trust: Trust = NOTHING_SAID,
    base: str | None = None,
    taken: Collection[str] = (),
    middles: Mapping[str, tuple[float, float, float]] | None = None,
) -> Sorting:
    """Sort photos to decks, or ask.

    `base` is the name that the folder suggests (null where it says nothing: decks are then named by the day
    and their order), `taken` are deck names that are in use, `middles` are (latitude, longitude, error in
    meters) of decks of the library. Photos that carry a `deck` are there already and are only compared
    with.
    """
    given = without_copied_times(photos)
    work = _Walk(given, trust)
    groups = work.groups(trust)
    if len(groups) > 1 and trust is not NOTHING_SAID:  # something speaks against the folder's name
        work = _Walk(given, NOTHING_SAID)
        groups = work.groups(NOTHING_SAID)
    return _Placing(work, groups, _Names(base, taken), trust, middles or {}).done()


def runs_of(photos: Sequence[Sighting]) -> list[Run]:
    """Return the runs of photos that surely hang together by time and place."""
    return _Walk(photos, NOTHING_SAID).runs


def surely_one_deck(runs: Sequence[Run], trust: Trust) -> bool:
    """Say whether runs are one deck, each with each, where somebody's word speaks for it so much."""
    photos = [one for run in runs for one in run.photos]
    return len(_Walk(photos, trust).groups(trust)) == 1


class _Walk:
    """The runs of all lanes, and how likely each two of them are two decks."""

    def __init__(self, photos: Sequence[Sighting], trust: Trust) -> None:
        self.trust = trust
        self.runs: list[Run] = []
        self.rhythms: dict[int, float] = {}
        for number, lane in enumerate(lanes(photos)):
            self.rhythms[number] = rhythm_of(lane)
            for run in join(cut(lane, number, self.rhythms[number]), self.rhythms[number], trust):
                self.runs += spread_out(run)
        self.runs += _untimed([one for one in photos if one.at_s is None])
        self.place = {id(run): place for place, run in enumerate(self.runs)}

    def neighbors(self, first: int, second: int) -> bool:
        """Whether the second run follows the first on one phone."""
        here, there = self.runs[first], self.runs[second]
        return second == first + 1 and here.lane == there.lane and here.lane >= 0

    def seen(self, first: int, second: int) -> Evidence:
        """Return what is known of two runs."""
        first, second = min(first, second), max(first, second)
        here, there = self.runs[first], self.runs[second]
        if self.neighbors(first, second):
            return evidence(here, there, self.rhythms[here.lane])
        one, other = here.located(), there.located()
        if one is None or other is None:
            return Evidence(None, None)
        error = float(np.hypot(one[1], other[1]))
        return Evidence(None, meters(one[0], other[0]), error, min(one[2], other[2]))

    def chance(self, first: int, second: int, trust: Trust) -> float:
        """Return the probability that two runs show two decks."""
        seen = self.seen(first, second)
        if seen.pause_s is not None:
            return chance_of_two_decks(seen, trust)
        chance = chance_without_order(seen.apart_m, seen.error_m, seen.positions, trust)
        if trust is FLAT_FOLDER and self._at_one_time(first, second):
            return max(chance, 0.5)
        return chance

    def _at_one_time(self, first: int, second: int) -> bool:
        """Whether two phones took the runs at the same time: two people may have been at two decks."""
        here, there = self.runs[first], self.runs[second]
        if here.lane == there.lane or here.lane < 0 or there.lane < 0:
            return False
        if here.zoned != there.zoned:
            return True
        began = max(here.first_s or 0.0, there.first_s or 0.0)
        return began <= min(here.last_s or 0.0, there.last_s or 0.0)

    def groups(self, trust: Trust) -> list[_Group]:
        """Return the runs that are surely one deck together (complete linkage: each with each)."""
        loose = [run for run in self.runs if run.lane == _UNKNOWN]
        firm = [place for place, run in enumerate(self.runs) if run.lane != _UNKNOWN]
        parts = self._linked(firm, trust)
        groups = [_Group([self.runs[place] for place in part]) for part in parts]
        if loose and len(groups) == 1 and trust is not NOTHING_SAID:
            groups[0].runs += loose
        elif loose:
            groups += [_Group([run]) for run in loose]
        return groups

    def _linked(self, places: Sequence[int], trust: Trust) -> list[list[int]]:
        if len(places) < 2 or trust is NOTHING_SAID:  # what is sure there has been joined already
            return [[place] for place in places]
        from scipy.cluster.hierarchy import fcluster, linkage

        chances = [
            self.chance(first, second, trust)
            for at, first in enumerate(places)
            for second in places[at + 1 :]
        ]
        marks = fcluster(linkage(np.array(chances), "complete"), trust.same, "distance")
        found: dict[int, list[int]] = defaultdict(list)
        for place, mark in zip(places, marks, strict=True):
            found[int(mark)].append(place)
        return list(found.values())


def _untimed(photos: Sequence[Sighting]) -> list[Run]:
    """Return photos without a time in groups by place, and those without a place as one group."""
    placed = [one for one in photos if one.place is not None]
    unknown = [one for one in photos if one.place is None]
    runs = [Run(_UNTIMED, some, list(some)) for some in _by_place(placed)]
    return runs + ([Run(_UNKNOWN, unknown)] if unknown else [])


def _by_place(photos: Sequence[Sighting]) -> list[list[Sighting]]:
    if len(photos) < 2:
        return [[one] for one in photos]
    from scipy.cluster.hierarchy import fclusterdata

    first = photos[0].place or (0.0, 0.0)
    east = np.cos(np.radians(first[0]))
    degrees = np.array([one.place for one in photos], dtype=float)
    flat = (degrees - degrees[0]) * [111_195.0, 111_195.0 * east]
    found: dict[int, list[Sighting]] = defaultdict(list)
    for one, mark in zip(photos, fclusterdata(flat, NEAR_M, "distance", method="single"), strict=True):
        found[int(mark)].append(one)
    return list(found.values())


class _Names:
    """Names for decks that nobody named: the folder's, or the day and the order in it."""

    def __init__(self, base: str | None, taken: Collection[str]) -> None:
        self.base, self.taken = base, set(taken)

    def give(self, groups: Sequence[_Group], main: _Group | None) -> None:
        """Name groups in the order of their time; the main one gets the folder's name, where there is one."""
        for group in sorted(groups, key=_Group.order):
            if self.base and group is main:
                group.deck = self.base
            else:
                group.deck = self._free(self.base or group.order()[1] or "stop")

    def _free(self, stem: str) -> str:
        number = 1 if stem != self.base else 2
        while f"{stem}-{number}" in self.taken:
            number += 1
        self.taken.add(f"{stem}-{number}")
        return f"{stem}-{number}"


@dataclass(frozen=True)
class _Match:
    """The group, or the deck of the library, that a group is hardest to tell from."""

    chance: float = 1.0
    group: _Group | None = None
    known: str | None = None
    run: int = -1
    other: int = -1
    apart_m: float | None = None

    @property
    def deck(self) -> str | None:
        """The deck's name, once it has one."""
        return self.known or (self.group.deck if self.group else None)


class _Placing:
    """Places one group after the other, the largest first, as long as it is surely another deck."""

    def __init__(
        self,
        work: _Walk,
        groups: Sequence[_Group],
        names: _Names,
        trust: Trust,
        middles: Mapping[str, tuple[float, float, float]],
    ) -> None:
        self.work, self.groups, self.names, self.trust = work, list(groups), names, trust
        self.middles = middles
        self.sorting = Sorting()
        self.placed: list[_Group] = []

    def done(self) -> Sorting:
        """Return the result."""
        waiting: list[tuple[_Group, _Match]] = []
        fresh = []
        for group in sorted(self.groups, key=self._size):
            stands = {one.deck for one in group.photos if one.deck is not None}
            match = self._nearest(group)
            if len(stands) == 1:
                group.deck = stands.pop()
                self.placed.append(group)
            elif stands or self._asked(group, match):
                waiting.append((group, match))
            else:
                fresh.append(group)
                self.placed.append(group)
        apart = [group for group, match in waiting if self._is_own(group, match)]
        main = max(self.placed or apart, key=lambda group: len(group.photos), default=None)
        self.names.give([*fresh, *apart], main)
        for group in self.placed:
            self.sorting.decks.update({one.key: str(group.deck) for one in group.new})
        for group, match in sorted(waiting, key=lambda pair: pair[0].order()):
            self._ask(group, match)
        self.sorting.boundaries = list(self._boundaries())
        return self.sorting

    @staticmethod
    def _size(group: _Group) -> tuple[bool, int, tuple[bool, str, float, str]]:
        stands = any(one.deck is not None for one in group.photos)
        return not stands, -len(group.photos), group.order()

    @staticmethod
    def _is_own(group: _Group, match: _Match) -> bool:
        """Whether a group that waits is proposed as a deck of its own."""
        beside = match.known is not None or match.group is not None
        return group.runs[0].lane != _UNKNOWN and not (beside and match.chance < 0.5)

    def _asked(self, group: _Group, match: _Match) -> bool:
        if len(self.groups) == 1 and self.trust is not NOTHING_SAID:
            return False
        if group.runs[0].lane < 0 or len(group.photos) < FEW:
            return True
        bar = min(self.trust.other, 1.0) if match.known else self.trust.other
        return (match.known is not None or match.group is not None) and match.chance < bar

    def _nearest(self, group: _Group) -> _Match:
        best = _Match()
        for run in group.runs:
            here = self.work.place[id(run)]
            for other in self.placed:
                for there in (self.work.place[id(one)] for one in other.runs):
                    chance = self.work.chance(here, there, NOTHING_SAID)
                    if chance < best.chance or best.group is None:
                        apart = self.work.seen(here, there).apart_m
                        best = _Match(chance, other, None, here, there, apart)
        for run in group.runs:
            best = self._known(run, best)
        return best

    def _known(self, run: Run, best: _Match) -> _Match:
        """Compare a run with the decks of the library."""
        located = run.located()
        if located is None:
            return best
        for deck, (latitude, longitude, error) in self.middles.items():
            apart = meters(located[0], (latitude, longitude))
            if apart > _APART_M:
                continue
            chance = chance_without_order(apart, float(np.hypot(located[1], error)), located[2])
            if chance < best.chance:
                best = _Match(chance, None, deck, self.work.place[id(run)], -1, apart)
        return best

    def _ask(self, group: _Group, match: _Match) -> None:
        pause = self.work.seen(match.run, match.other).pause_s if match.other >= 0 else None
        proposal = group.deck if self._is_own(group, match) else match.deck
        new = tuple(one.key for one in group.new)
        if new:
            doubt = Doubt(
                self._why(group, match), new, match.chance, proposal, match.deck, pause, match.apart_m
            )
            self.sorting.doubts.append(doubt)

    def _why(self, group: _Group, match: _Match) -> Why:
        if group.runs[0].lane < 0:
            return Why.NO_TIME
        if match.known is not None:
            return Why.KNOWN_PLACE
        if match.other >= 0 and match.chance < NOTHING_SAID.other:
            here, there = self.work.runs[match.run], self.work.runs[match.other]
            if here.lane != there.lane:
                return Why.PHONES
            if not self.work.neighbors(*sorted((match.run, match.other))):
                return Why.RETURN
            return self._reason(match.run, match.other)
        return Why.FEW if len(group.photos) < FEW else Why.FAR

    def _reason(self, first: int, second: int) -> Why:
        seen = self.work.seen(first, second)
        return Why.FAR if seen.apart_m is not None and seen.apart_m > 3 * seen.error_m + 15 else Why.PAUSE

    def _boundaries(self) -> Iterable[Boundary]:
        for place in range(len(self.work.runs) - 1):
            if not self.work.neighbors(place, place + 1):
                continue
            here, there = self.work.runs[place], self.work.runs[place + 1]
            seen = self.work.seen(place, place + 1)
            yield Boundary(
                here.photos[-1].key,
                there.photos[0].key,
                self._reason(place, place + 1),
                self.work.chance(place, place + 1, NOTHING_SAID),
                seen.pause_s,
                seen.apart_m,
            )
