"""How much faster two Dask workers embed than one, on one machine, with scheduler and workers as processes.

    tools/bench/run cluster --photos 24 --rounds 3

Photos as in `speed`: invented, 12 megapixels. Rounds with one and two workers alternate, so that what else
the machine does falls on both; the fastest round of each counts.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tools.bench.scale import machine
from tools.bench.speed import make_photos
from triage.features.keep import embed_photos
from triage.ingest import ingest
from triage.library import Library, queries

WARM = 2
"""Photos that every worker gets first: it loads the network at its first one."""


class Cluster:
    """A scheduler and its workers, each a process of its own with one thread; a context manager."""

    def __init__(self, folder: Path, workers: int) -> None:
        self.folder = folder
        self.processes: list[subprocess.Popen[bytes]] = []
        self.scheduler = self.start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        self.address = self.told(r"Scheduler at:\s+(tcp://\S+)")
        self.workers = [
            self.start(
                "dask_worker",
                self.address,
                "--nthreads",
                "1",
                "--nworkers",
                "1",
                "--no-nanny",
                "--no-dashboard",
                "--host",
                "127.0.0.1",
                "--local-directory",
                str(folder / f"w{number}"),
            )
            for number in range(workers)
        ]

    def start(self, module: str, *words: str) -> subprocess.Popen[bytes]:
        """Start one program of the cluster; what it says goes into a file."""
        with (self.folder / f"{module}.{len(self.processes)}.log").open("wb") as out:
            process = subprocess.Popen(
                [sys.executable, "-m", f"distributed.cli.{module}", *words],
                stdout=out,
                stderr=out,
                env={
                    **os.environ,
                    "OPENBLAS_NUM_THREADS": "1",
                    "OMP_NUM_THREADS": "1",
                    "PYTHONPATH": os.pathsep.join(sys.path),
                },
            )
        self.processes.append(process)
        return process

    def told(self, pattern: str) -> str:
        """Wait until the scheduler has said something, and return it."""
        log = self.folder / "dask_scheduler.0.log"
        for _ in range(600):
            found = re.search(pattern, log.read_text())
            if found:
                return found.group(1)
            time.sleep(0.1)
        raise AssertionError(log.read_text())

    def close(self) -> None:
        """End every process."""
        for process in reversed(self.processes):
            if process.poll() is None:
                process.kill()
            process.wait()

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()


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
