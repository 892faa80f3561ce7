"""How much faster two Dask workers embed than one, on one machine, with scheduler and workers as processes.

    tools/bench/run cluster --photos 24 --rounds 3

Photos as in `speed`: invented, 12 megapixels. Rounds with one and two workers alternate, so that what else
the machine does falls on both; the fastest round of each counts.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import time
from pathlib import Path

from tests.simulated.cluster import Cluster
from tools.bench.scale import machine
from tools.bench.speed import make_photos
from triage.features.keep import embed_photos
from triage.ingest import ingest
from triage.library import Library, queries

WARM = 2
"""Photos that every worker gets first: it loads the network at its first one."""


def seconds(library: Library, shas: list[str], workers: int) -> float:
    """Return how long so many workers take to embed all photos but those that warm them up."""
    shutil.rmtree(library.caches / "vectors", ignore_errors=True)
    with tempfile.TemporaryDirectory() as folder, Cluster(Path(folder), workers) as cluster:
        embed_photos(library, shas[: WARM * workers], engine="dask", dask=cluster.address)
        shutil.rmtree(library.caches / "vectors")
        start = time.perf_counter()
        done = embed_photos(library, shas[2 * WARM :], engine="dask", dask=cluster.address)
        taken = time.perf_counter() - start
    assert (done.new, done.set_aside) == (len(shas) - 2 * WARM, [])
    return taken


def measure(photos: int, rounds: int) -> dict[str, object]:
    """Return the seconds of every round, and how many times faster two workers are."""
    with tempfile.TemporaryDirectory() as name, Library.create(Path(name) / "library") as library:
        (Path(name) / "D-01").mkdir()
        make_photos(Path(name) / "D-01", photos + 2 * WARM)
        ingest(library, [Path(name) / "D-01"], by="bench")
        shas = [photo.sha for photo in queries.photos(library)]
        taken: dict[int, list[float]] = {1: [], 2: []}
        for _ in range(rounds):
            for workers, seen in taken.items():
                seen.append(round(seconds(library, shas, workers), 2))
    return {
        "photos": photos,
        "seconds_one_worker": taken[1],
        "seconds_two_workers": taken[2],
        "times_faster": round(min(taken[1]) / min(taken[2]), 2),
    } | {"machine": machine()}


def main() -> int:
    """Parse, measure, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--photos", type=int, default=24)
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    json.dump(measure(given.photos, given.rounds), sys.stdout, indent=2)
    print()
    return 0


if __name__ == "__main__":
    sys.exit(main())
