"""What a way of sorting did to a made season: photos with another house, houses divided, photos left open."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from tests.simulated.walk_seasons import Season
from triage.ingest.sightings import Sighting
from triage.ingest.stays import meters
from triage.ingest.walk import sort_by_walk

PAUSE_S, RADIUS_M = 1200.0, 50.0


@dataclass
class Count:
    """What came of some seasons.

    `merged` photos are in a deck with another house's, `divided` ones in a second deck of one house.
    """

    seasons: int = 0
    photos: int = 0
    merged: int = 0
    divided: int = 0
    waiting: int = 0
    questions: int = 0

    def add(self, other: Count) -> None:
        """Add another count."""
        for name in vars(self):
            setattr(self, name, getattr(self, name) + getattr(other, name))


def judge(season: Season, decks: Mapping[str, str], questions: int = 0) -> Count:
    """Count what a sorting did: a photo is merged where most of its deck show another house.

    A photo is divided where its house has a deck with more of its photos.
    """
    members: dict[str, Counter[str]] = defaultdict(Counter)
    for key, deck in decks.items():
        members[deck][season.truth[key]] += 1
    count = Count(1, len(season.photos), waiting=len(season.photos) - len(decks), questions=questions)
    homes: dict[str, list[int]] = defaultdict(list)
    for inside in members.values():
        (main, number) = inside.most_common(1)[0]
        count.merged += sum(inside.values()) - number
        homes[main].append(number)
    count.divided = sum(sum(sizes) - max(sizes) for home, sizes in homes.items() if home)
    return count


def ours(season: Season) -> Count:
    """Judge the program."""
    found = sort_by_walk(season.photos)
    return judge(season, found.decks, len(found.doubts))


def by_pause(season: Season) -> Count:
    """Judge a plain rule: a pause of 20 minutes begins the next deck, phone by phone."""
    return judge(season, _cut(season, lambda last, one: (one.at_s or 0) - (last.at_s or 0) > PAUSE_S))


def by_radius(season: Season) -> Count:
    """Judge a plain rule: more than 50 m from the photo before begins the next deck, phone by phone."""

    def far(last: Sighting, one: Sighting) -> bool:
        return bool(last.place and one.place and meters(last.place, one.place) > RADIUS_M)

    return judge(season, _cut(season, far))


def _cut(season: Season, is_next: Callable[[Sighting, Sighting], bool]) -> dict[str, str]:
    decks, number = {}, 0
    last: Sighting | None = None
    timed = [one for one in season.photos if one.at_s is not None]
    for one in sorted(timed, key=lambda one: (one.phone, one.at_s or 0)):
        if last is None or one.phone != last.phone or is_next(last, one):
            number += 1
        decks[one.key] = f"deck-{number}"
        last = one
    return decks
