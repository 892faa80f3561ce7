"""One way to run a step over many items: `map_items(step, items) -> Ok | Failed per item`.

Engines: `here` (this process), `processes` (local worker processes that can be killed, and die with their
parent). A worker that crashes or takes too long costs its item, never the batch. Steps are plain functions
of one picklable item; they never touch the database.
"""

from __future__ import annotations

import ctypes
import multiprocessing
import os
import resource
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import TimeoutError as FutureTimeout
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from triage.errors import Cancelled, TriageError, WrongUsage

Item = TypeVar("Item")
Result = TypeVar("Result")
Progress = Callable[[str, int, int | None], None]
"""Called with what is being done, how many are done, and of how many (null when unknown)."""
Cancel = Callable[[], bool]

ENGINES = ("here", "processes", "dask")
_AHEAD = 4
"""Items that wait in front of each worker: enough to keep it busy, too few to fill the memory."""
_MEMORY_BYTES = 3 << 30


@dataclass(frozen=True)
class Ok(Generic[Item, Result]):
    """An item that was done."""

    item: Item
    value: Result


@dataclass(frozen=True)
class Failed(Generic[Item]):
    """An item that was not done, with a reason a person understands."""

    item: Item
    reason: str


def default_workers() -> int:
    """Return the number of processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def map_items(
    step: Callable[[Item], Result],
    items: Iterable[Item],
    *,
    engine: str = "processes",
    workers: int | None = None,
    timeout_s: float = 60.0,
    cancel: Cancel | None = None,
    address: str | None = None,
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    """Run a step over items and yield a result for each, in the order of the items.

    Raises Cancelled between items when `cancel()` says so, and WrongUsage for an unknown engine.
    """
    if engine == "here":
        return _map_here(step, items, cancel)
    if engine == "processes":
        return _map_processes(step, items, workers or default_workers(), timeout_s, cancel)
    if engine == "dask":
        from triage.batch.dask_engine import map_dask

        return map_dask(step, items, address, timeout_s, cancel)
    raise WrongUsage(f"There is no engine {engine!r}.", f"Engines: {', '.join(ENGINES)}.")


def check_cancel(cancel: Cancel | None) -> None:
    """Raise Cancelled when the person who started the work has stopped it."""
    if cancel is not None and cancel():
        raise Cancelled("Stopped; what was finished is kept.", "Run the same command again to go on.")


def run_one(step: Callable[[Item], Result], item: Item) -> Ok[Item, Result] | Failed[Item]:
    """Run one step in this process, turning what goes wrong with the item into a reason."""
    try:
        return Ok(item, step(item))
    except MemoryError:
        return Failed(item, "needs more memory than a photo may")
    except TriageError as error:
        return Failed(item, str(error))


def _map_here(
    step: Callable[[Item], Result], items: Iterable[Item], cancel: Cancel | None
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    for item in items:
        check_cancel(cancel)
        yield run_one(step, item)


def die_with_parent() -> None:
    """Ask the kernel to end this worker when its parent ends (Linux; elsewhere the pipe's end does)."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform.startswith("linux"):
        ctypes.CDLL(None, use_errno=True).prctl(1, signal.SIGKILL)


def _start_worker() -> None:
    die_with_parent()
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    most = _MEMORY_BYTES if hard == resource.RLIM_INFINITY else min(hard, _MEMORY_BYTES)
    resource.setrlimit(resource.RLIMIT_DATA, (most, hard))


def _map_processes(
    step: Callable[[Item], Result],
    items: Iterable[Item],
    workers: int,
    timeout_s: float,
    cancel: Cancel | None,
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    from pebble import ProcessPool

    waiting: deque[tuple[Item, Any]] = deque()
    source = iter(items)
    pool: Any = ProcessPool(
        max_workers=workers, initializer=_start_worker, context=multiprocessing.get_context("spawn")
    )
    finished = False
    try:
        while True:
            while len(waiting) < workers * _AHEAD and (item := next(source, _END)) is not _END:
                waiting.append((item, pool.schedule(run_one, args=(step, item), timeout=timeout_s)))
            if not waiting:
                break
            check_cancel(cancel)
            item, future = waiting.popleft()
            yield _outcome(item, future, timeout_s)
        finished = True
    finally:
        if not finished:
            pool.stop()
        pool.close()
        pool.join()


_END: Any = object()


def _outcome(item: Item, future: Any, timeout_s: float) -> Any:
    from pebble import ProcessExpired

    try:
        return future.result()
    except FutureTimeout:
        return Failed(item, f"took longer than {timeout_s:.0f} s to read")
    except ProcessExpired:
        return Failed(item, "made the reader crash")
