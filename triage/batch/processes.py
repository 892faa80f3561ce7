"""The engine `processes`: local workers that can be killed, each guarded in time and memory.

A worker that dies costs its item a second try, then the item is given up; a pool that breaks is made again
and everything that waited is done again. The batch always goes on.
"""

from __future__ import annotations

import multiprocessing
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import TimeoutError as FutureTimeout
from concurrent.futures import wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from itertools import chain, islice
from typing import Any, Generic

from triage.batch.outcomes import Cancel, Failed, Item, Ok, Result, check_cancel, run_one
from triage.errors import TriageError
from triage.platforms import die_with_parent, limit_memory

AHEAD = 4
"""Items that wait in front of each worker: enough to keep it busy, too few to fill the memory."""
_FEW = 6
"""Up to so many items are done by one worker, which is forked where that is safe: it starts at once."""
_MEMORY_BYTES = 3 << 30
_DEATHS = 2
"""An item whose worker died so often is given up."""
_BREAKS = 5
"""So many pools in a row that break before anything is done end the batch."""
_LOOK_S = 0.5
_UNSAFE_TO_FORK = ("cv2", "onnxruntime", "sklearn")
"""Libraries that may run threads of their own, which a forked process would wait for in vain."""

_LOADED_ONCE = (
    "pebble",
    "pebble.pool.process",
    "triage.ingest.take_in",
    "triage.ingest.exif",
    "triage.imaging.examine",
    "triage.imaging.rendition",
    "exifread",
    "pillow_heif",
    "pdqhash",
    "cv2",
    "PIL.JpegImagePlugin",
)
"""What the server of workers imports before the first one, by name; nothing that starts threads."""


@dataclass
class _Waiting(Generic[Item]):
    item: Item
    future: Any
    deaths: int = 0


def map_processes(
    step: Callable[[Item], Result],
    items: Iterable[Item],
    workers: int,
    timeout_s: float,
    cancel: Cancel | None,
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    """Run a step over items in worker processes and yield a result for each, in the order of the items.

    Raises Cancelled when `cancel()` says so, TriageError where no worker can be kept alive.
    """
    source = iter(items)
    first = list(islice(source, _FEW + 1))
    few = len(first) <= _FEW
    run = _Run(step, 1 if few else workers, timeout_s, cancel, forked=few and _may_fork())
    return run.outcomes(chain(first, source))


def new_context() -> Any:
    """Return the way to start workers: from a server that has the libraries loaded, where the system has one.

    The server is a process of its own without threads, started once; a worker is then forked from it at once.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods() or sys.platform != "linux":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([*_LOADED_ONCE])
    return context


def _may_fork() -> bool:
    return (
        sys.platform == "linux"
        and threading.active_count() == 1
        and not any(name in sys.modules for name in _UNSAFE_TO_FORK)
    )


class _Run(Generic[Item, Result]):
    """One batch: the pool, and what was handed to it and not yet yielded."""

    def __init__(
        self,
        step: Callable[[Item], Result],
        workers: int,
        timeout_s: float,
        cancel: Cancel | None,
        forked: bool,
    ) -> None:
        self.step, self.workers, self.timeout_s, self.cancel = step, workers, timeout_s, cancel
        self.context = multiprocessing.get_context("fork") if forked else new_context()
        self.waiting: deque[_Waiting[Item]] = deque()
        self.breaks = 0
        self.pool = self.new_pool()

    def new_pool(self) -> Any:
        from pebble import ProcessPool

        return ProcessPool(max_workers=self.workers, initializer=start_worker, context=self.context)

    def outcomes(self, source: Iterator[Item]) -> Iterator[Ok[Item, Result] | Failed[Item]]:
        finished = False
        try:
            while True:
                for item in islice(source, self.workers * AHEAD - len(self.waiting)):
                    self.waiting.append(_Waiting(item, None))
                    self.schedule(self.waiting[-1])
                if not self.waiting:
                    break
                outcome = self.first_outcome()
                self.waiting.popleft()
                yield outcome
            finished = True
        finally:
            if not finished:
                self.pool.stop()
            self.pool.close()
            self.pool.join()

    def schedule(self, one: _Waiting[Item]) -> None:
        try:
            one.future = self.pool.submit(run_one, self.timeout_s, self.step, one.item)
        except RuntimeError:  # the pool broke while nobody looked
            self.renew()

    def renew(self) -> None:
        """Make the pool again and hand everything to it that is not done. Raises TriageError."""
        self.breaks += 1
        if self.breaks > _BREAKS:
            raise TriageError(
                "The worker processes end as soon as they begin; the batch was stopped.",
                "Free some memory and run the same command again, or add: --engine here",
            )
        self.pool.stop()
        self.pool.join()
        self.context = multiprocessing.get_context("spawn")
        self.pool = self.new_pool()
        for one in self.waiting:
            if one.future is None or not _is_answered(one.future):
                one.future = self.pool.submit(run_one, self.timeout_s, self.step, one.item)

    def first_outcome(self) -> Any:
        """Wait for the item that is first in the order and return its outcome."""
        from pebble import ProcessExpired

        first = self.waiting[0]
        while True:
            try:
                outcome = self.result(first.future)
            except _Lost:
                self.renew()
            except FutureTimeout:
                return Failed(first.item, f"took longer than {self.timeout_s:.0f} s to read")
            except ProcessExpired:
                first.deaths += 1
                if first.deaths >= _DEATHS:
                    return Failed(first.item, "made the reader crash")
                self.schedule(first)
            else:
                self.breaks = 0
                return outcome

    def result(self, future: Any) -> Any:
        """Return a future's result. Raises _Lost where the pool broke or forgot it, Cancelled."""
        ends = time.monotonic() + 2 * self.timeout_s + 30
        while not wait([future], _LOOK_S).done:
            check_cancel(self.cancel)
            if time.monotonic() > ends and not future.running():
                raise _Lost  # a worker died between taking it and saying so
        try:
            return future.result()
        except BrokenProcessPool as error:
            raise _Lost from error


class _Lost(Exception):  # noqa: N818 - it is caught above, never shown
    """An item that the pool will not answer."""


def _is_answered(future: Any) -> bool:
    return bool(future.done()) and not isinstance(future.exception(), BrokenProcessPool)


def start_worker() -> None:
    """Guard a new worker: it ends with its parent and may not take more than 3 GB of memory."""
    die_with_parent()
    limit_memory(_MEMORY_BYTES)
