"""Sorting by time and place on made seasons: wrong without a question, questions, beside two plain rules."""

from __future__ import annotations

import argparse
import json
import math
import random
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.simulated.walk_counts import Count, by_pause, by_radius, ours
from tests.simulated.walk_seasons import HABITS, draw_season

RESULTS = Path(__file__).parent / "results" / "walks.json"
_LOT = 25


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
