"""Many photos to vectors: what is kept is not computed again, one bad photo costs only itself."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from triage.batch import Failed, Ok, check_cancel
from triage.errors import BadInput, BadPhoto
from triage.features.embedder import Embedder

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.features.store import VectorStore
    from triage.features.vectors import PhotoVectors, Recipe

Item: TypeAlias = "tuple[str, Path]"
Done: TypeAlias = "Ok[Item, PhotoVectors] | Failed[Item]"
_AHEAD = 2
"""Photos that wait in front of each worker; more would only fill the memory."""


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Let each worker's matrix products use its own core only; more threads cost a third more time."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(limits=1, user_api="blas"):
        yield


class _Worker:
    """Looks a photo up, or computes and keeps it; the network is loaded when the first photo needs it."""

    def __init__(self, store: VectorStore, recipe: Recipe, threads: int) -> None:
        self._store, self._recipe, self._threads = store, recipe, threads
        self._embedder: Embedder | None = None

    @property
    def recipe_sha(self) -> str:
        """The hash of the recipe."""
        return self._recipe.sha

    def once(self, sha: str, path: Path) -> Done | None:
        """Compute and keep a photo's vectors, or return None where they are kept."""
        if self._store.has(sha):
            return None
        self.load()
        return self((sha, path))

    def load(self) -> None:
        if self._embedder is None:
            self._embedder = Embedder(self._recipe, self._threads)

    def __call__(self, item: Item) -> Done:
        assert self._embedder is not None  # noqa: S101 - load() comes first
        sha, path = item
        try:
            vectors = self._embedder.embed(path)
        except BadPhoto as error:
            return Failed(item, error.reason)
        self._store.put(sha, vectors)
        return Ok(item, vectors)


@dataclass(frozen=True)
class EmbedTask:
    """A photo for a worker that may be on another machine: photos and cache lie in a shared folder."""

    sha: str
    path: Path
    folder: Path
    recipe_sha: str


def embed_task(task: EmbedTask) -> str:
    """Compute and keep one photo's vectors unless they are kept already; returns the photo's hash.

    Raises BadPhoto where the photo cannot be read, BadInput where this worker's recipe is another one.
    """
    worker = _worker_of(task.folder)
    if worker.recipe_sha != task.recipe_sha:
        raise BadInput("This worker has another version of the recipe.", "Install the same deck-triage.")
    with one_blas_thread():
        outcome = worker.once(task.sha, task.path)
    if isinstance(outcome, Failed):
        raise BadPhoto(outcome.reason)
    return task.sha


@lru_cache(maxsize=1)
def _worker_of(folder: Path) -> _Worker:
    """Return this process's own worker: the network is loaded once, with one thread."""
    from triage.features.store import VectorStore

    store = VectorStore(folder)
    return _Worker(store, store.recipe, 1)


def embed_many(
    items: Iterable[Item],
    store: VectorStore,
    recipe: Recipe | None = None,
    *,
    workers: int = 2,
    threads: int = 1,
    total: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Iterator[Done]:
    """Yield each photo's vectors in the order of the items, computing and keeping those that the store lacks.

    Parameters
    ----------
    items : (photo hash, path of the original) pairs; read as they are needed.
    workers : photos worked on at the same time, each decoded once and run with ``threads`` threads.
    total : how many items there are, for progress.

    Raises
    ------
    Cancelled
        between photos when ``cancel()`` says so; what was computed is kept.
    TriageError
        when vectors cannot be kept.
    """
    worker = _Worker(store, recipe or store.recipe, threads)
    pending: deque[Done | Future[Done]] = deque()
    stream = iter(items)
    done = 0
    with one_blas_thread(), ThreadPoolExecutor(workers, thread_name_prefix="embed") as pool:
        try:
            while True:
                check_cancel(cancel)
                for item in islice(stream, workers * _AHEAD + 1 - len(pending)):
                    kept = store.get(item[0])
                    if kept is not None:
                        pending.append(Ok(item, kept))
                    else:
                        worker.load()
                        pending.append(pool.submit(worker, item))
                if not pending:
                    return
                first = pending.popleft()
                outcome = first.result() if isinstance(first, Future) else first
                done += 1
                if progress:
                    progress("embed", done, total)
                yield outcome
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
