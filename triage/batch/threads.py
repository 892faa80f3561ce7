"""The engine `threads`: threads of this process, for steps that spend their time outside Python."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice

from triage.batch.outcomes import Cancel, Failed, Item, Ok, Result, check_cancel, run_one

AHEAD = 2
"""Items that wait in front of each worker; more would only fill the memory."""


def map_threads(
    step: Callable[[Item], Result], items: Iterable[Item], workers: int, cancel: Cancel | None
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    """Run a step over items in threads and yield a result for each, in the order of the items.

    Items are read as they are needed, by the caller's thread. Raises Cancelled when `cancel()` says so; items
    that were begun are finished first.
    """
    waiting: deque[Future[Ok[Item, Result] | Failed[Item]]] = deque()
    source = iter(items)
    with ThreadPoolExecutor(workers, thread_name_prefix="batch") as pool:
        try:
            while True:
                check_cancel(cancel)
                for item in islice(source, workers * AHEAD + 1 - len(waiting)):
                    waiting.append(pool.submit(run_one, step, item))
                if not waiting:
                    return
                yield waiting.popleft().result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
