"""How well lengths are measured by a card, and how a batch is sorted by cards, on made views and walks.

    tools/bench/run slate views --count 2000 --paper letter --seed 100 --jobs 2
    tools/bench/run slate walks --count 5000 --seed 0
    tools/bench/run slate rendered FOLDER

`views` projects a card on a ledger as a phone would see it (`slate_views`) and measures lengths of 4 in to
4 ft beside the card through the same functions as the command; points are clicked with an error of one
pixel in 4,000. Refused views and lengths are counted. `rendered` does the same for pictures that another
renderer made: FOLDER holds `truth.json`, a list of {"photo", "focal_35mm", "from": [x, y], "to": [x, y],
"inches"} with points as fractions of the photo. `walks` counts photos that were placed wrongly or left open.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path

import cv2
import numpy as np

from tests.simulated import slate_views as sv
from tests.simulated import slate_walks as sw
from tests.simulated.slate_measured import ViewResult, measure_view, summary
from triage.errors import TriageError
from triage.slate import measure
from triage.slate.sorting import sort_walk


def parts(all_told: list[ViewResult]) -> dict[str, list[ViewResult]]:
    """The views by distance, obliqueness and bend."""
    return {
        "under 1.3 m": [told for told in all_told if told.distance_mm < 1300],
        "1.3 to 2.2 m": [told for told in all_told if 1300 <= told.distance_mm < 2200],
        "over 2.2 m": [told for told in all_told if told.distance_mm >= 2200],
        "under 30 degrees": [told for told in all_told if told.oblique_deg < 30],
        "over 45 degrees": [told for told in all_told if told.oblique_deg > 45],
        "flat": [told for told in all_told if not told.bent],
        "bent": [told for told in all_told if told.bent],
    }


def _some_views(job: tuple[int, int, str, bool]) -> list[ViewResult]:
    cv2.setNumThreads(1)
    first, count, paper, whole = job
    wood = sv.wood_texture(np.random.default_rng(0))
    return [measure_view(seed, paper, wood, whole) for seed in range(first, first + count)]


def run_views(
    count: int, paper: str, seed: int, jobs: int, whole: bool, keep: Path | None = None
) -> list[ViewResult]:
    """Make and measure so many views with consecutive seeds; `keep` is a file in which a run goes on."""
    step = 25
    first = seed * 1_000_000
    chunks = [(first + n, min(step, count - n), paper, whole) for n in range(0, count, step)]
    told = (
        [ViewResult(**json.loads(line)) for line in keep.read_text().splitlines()]
        if keep and keep.exists()
        else []
    )
    chunks = chunks[len(told) // step :]
    with ProcessPoolExecutor(jobs) as pool:
        for some in pool.map(_some_views, chunks):
            told += some
            if keep:
                with keep.open("a") as file:
                    file.writelines(json.dumps(asdict(one), default=float) + "\n" for one in some)
            sys.stderr.write(f"\r{len(told)} of {count} views")
    sys.stderr.write("\n")
    return told


def run_rendered(folder: Path) -> list[ViewResult]:
    """Measure in pictures of another renderer, with the truth beside them."""
    all_told = []
    truth = json.loads((folder / "truth.json").read_text())
    for photo in sorted({row["photo"] for row in truth if (folder / row["photo"]).exists()}):
        rgb = cv2.imread(str(folder / photo), cv2.IMREAD_COLOR)[..., ::-1]
        mine = [row for row in truth if row["photo"] == photo]
        told = ViewResult()
        all_told.append(told)
        try:
            found = measure.measurable(np.ascontiguousarray(rgb), mine[0].get("focal_35mm"))
        except measure.CannotMeasure as error:
            told.refused.append(str(error))
            continue
        for row in mine:
            try:
                one = measure.lengths(found, [tuple(row["from"]), tuple(row["to"])])[0]
            except TriageError:
                told.lengths_refused += 1
                continue
            told.rows.append((row["inches"], one.inches, one.low, one.high))
    return all_told


def run_walks(count: int, seed: int) -> dict[str, int]:
    """Sort so many made walks and count photos, wrong ones, open ones."""
    counts: Counter[str] = Counter()
    for number in range(seed, seed + count):
        rng = random.Random(number)
        walk = sw.draw_walk(rng, sw.draw_habits(rng))
        placed = sort_walk(walk.photos)
        counts["photos"] += len(placed)
        counts["open"] += sum(one.deck is None for one in placed)
        wrong = sum(one.deck not in (None, walk.truth[one.key]) for one in placed)
        counts["wrong"] += wrong
        counts["walks with a wrong photo"] += bool(wrong)
    return {"walks": count, **counts}


def main() -> None:
    """Run one of the benches and print its figures as JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    kinds = parser.add_subparsers(dest="kind", required=True)
    views = kinds.add_parser("views")
    views.add_argument("--paper", default="letter")
    views.add_argument("--jobs", type=int, default=1)
    views.add_argument("--whole", action="store_true", help="draw whole photos, not the card's part alone")
    views.add_argument("--keep", type=Path, help="file of what is done, to go on with")
    walks = kinds.add_parser("walks")
    for one in (views, walks):
        one.add_argument("--count", type=int, default=2000)
        one.add_argument("--seed", type=int, default=0)
    kinds.add_parser("rendered").add_argument("folder", type=Path)
    given = parser.parse_args()
    if given.kind == "walks":
        print(json.dumps(run_walks(given.count, given.seed), indent=2))
        return
    told = (
        run_rendered(given.folder)
        if given.kind == "rendered"
        else run_views(given.count, given.paper, given.seed, given.jobs, given.whole, given.keep)
    )
    result = summary(told)
    if given.kind == "views":
        result["parts"] = {
            name: {
                key: part[key] for key in ("lengths", "median_error", "p95_error", "coverage", "coverage_95")
            }
            for name, some in parts(told).items()
            if any(one.rows for one in some)
            for part in (summary(some),)
        }
    print(json.dumps(result, indent=2))


if __name__ == "__main__":
    main()
