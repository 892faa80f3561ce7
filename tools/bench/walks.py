"""Sorting by time and place on made seasons: wrong without a question, questions, beside two plain rules."""

from __future__ import annotations

import argparse
import json
import math
import random
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tools.bench.walk_seasons import HABITS, Season, draw_season
from triage.ingest.sightings import Sighting
from triage.ingest.stays import metres
from triage.ingest.walk import sort_by_walk

RESULTS = Path(__file__).parent / "results" / "walks.json"
PAUSE_S, RADIUS_M = 1200.0, 50.0
_LOT = 25


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
        return bool(last.place and one.place and metres(last.place, one.place) > RADIUS_M)

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


RULES = {"walk": ours, "pause of 20 minutes": by_pause, "radius of 50 m": by_radius}


def count_lot(
    first: int, number: int, habits: str = "scattered", rules: tuple[str, ...] = tuple(RULES)
) -> dict[str, Count]:
    """Judge the seasons of some seeds by each rule."""
    found = {name: Count() for name in rules}
    for seed in range(first, first + number):
        season = draw_season(random.Random(seed), HABITS[habits])
        for name in rules:
            found[name].add(RULES[name](season))
    return found


def main() -> None:
    """Run the bench and keep its figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--habits", choices=sorted(HABITS), default="scattered")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", action="store_true", help=f"write {RESULTS.name}")
    given = parser.parse_args()
    started = time.monotonic()
    total = {name: Count() for name in RULES}
    starts = range(given.seed, given.seed + given.seasons, _LOT)
    with ProcessPoolExecutor(given.workers) as pool:
        for found in pool.map(count_lot, starts, [_LOT] * len(starts), [given.habits] * len(starts)):
            for name, count in found.items():
                total[name].add(count)
    rows = {name: _row(count) for name, count in total.items()}
    for name, row in rows.items():
        print(f"{name}: {json.dumps(row)}")
    print(f"{time.monotonic() - started:.0f} s")
    if given.keep:
        kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
        kept[given.habits] = {"seed": given.seed, "rules": rows}
        RESULTS.write_text(json.dumps(kept, indent=1) + "\n")


def _row(count: Count) -> dict[str, float]:
    return {
        "seasons": count.seasons,
        "photos": count.photos,
        "with another house, without a question": count.merged,
        "one deck as two, without a question": count.divided,
        "waiting share": round(count.waiting / max(1, count.photos), 4),
        "questions a day": round(count.questions / max(1, count.seasons), 2),
        "wrong in 1,000,000 at most (95 %)": math.ceil(
            1e6
            * (3.0 if count.merged == 0 else count.merged + 2 * math.sqrt(count.merged))
            / max(1, count.photos)
        ),
    }


if __name__ == "__main__":
    main()
