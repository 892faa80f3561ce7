"""A Dask cluster on this machine: a scheduler and workers, each a process of its own."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path

HTTP = ("--no-dashboard", "--dashboard-address", "127.0.0.1:0")
"""Without a page old versions still listen for HTTP, on every address of the machine unless one is named."""


class Cluster:
    """A scheduler and its workers, each a process of its own with one thread; a context manager."""

    def __init__(self, folder: Path, workers: int) -> None:
        self.folder = folder
        self.processes: list[subprocess.Popen[bytes]] = []
        self.scheduler = self.start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", *HTTP)
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
                *HTTP,
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
