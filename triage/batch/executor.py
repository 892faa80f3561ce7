"""One way to run a step over many items: `map_items(step, items) -> Ok | Failed per item`.

Engines: `here` (this process, no guards: for debugging), `processes` (local worker processes that can be
killed, and die with their parent), `dask` (a cluster). A worker that crashes or takes too long costs its
item, never the batch. Steps are plain functions of one picklable item; they never touch the database.
A room may also take `threads`, for steps that run outside Python; nothing guards these.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator

from triage.batch.outcomes import Cancel, Failed, Item, Ok, Result, check_cancel, run_one
from triage.errors import WrongUsage

ENGINES = ("here", "processes", "dask")
"""The engines that a person may choose."""


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
        from triage.batch.processes import map_processes

        return map_processes(step, items, workers or default_workers(), timeout_s, cancel)
    if engine == "threads":
        from triage.batch.threads import map_threads

        return map_threads(step, items, workers or default_workers(), cancel)
    if engine == "dask":
        from triage.batch.dask_engine import map_dask

        return map_dask(step, items, address, timeout_s, cancel)
    raise WrongUsage(f"There is no engine {engine!r}.", f"Engines: {', '.join(ENGINES)}.")


def _map_here(
    step: Callable[[Item], Result], items: Iterable[Item], cancel: Cancel | None
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    for item in items:
        check_cancel(cancel)
        yield run_one(step, item)
