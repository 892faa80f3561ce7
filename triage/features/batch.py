"""Many photos to vectors: what is kept is not computed again, one bad photo costs only itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from triage.batch import Failed, Ok, map_items
from triage.errors import BadInput, TriageError
from triage.features.embedder import Embedder

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.features.store import VectorStore
    from triage.features.vectors import PhotoVectors, Recipe

Item: TypeAlias = "tuple[str, Path]"
Done: TypeAlias = "Ok[Item, PhotoVectors] | Failed[Item]"
LookedUp: TypeAlias = "tuple[str, Path, PhotoVectors | None]"
"""A photo with its vectors where they are kept."""


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Let each worker's matrix products use its own core only; more threads cost a third more time."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(limits=1, user_api="blas"):
        yield


class _Worker:
    """Computes and keeps a photo's vectors; the network is loaded when the first photo needs it."""

    def __init__(self, store: VectorStore, recipe: Recipe, threads: int) -> None:
        self._store, self._recipe, self._threads = store, recipe, threads
        self._embedder: Embedder | None = None

    @property
    def recipe_sha(self) -> str:
        """The hash of the recipe."""
        return self._recipe.sha

    def looked_up(self, items: Iterable[Item]) -> Iterator[LookedUp]:
        """Yield each photo with its vectors where they are kept."""
        for sha, path in items:
            kept = self._store.get(sha)
            if kept is None:
                self.load()
            yield sha, path, kept

    def once(self, sha: str, path: Path) -> None:
        """Compute and keep a photo's vectors unless they are kept. Raises BadPhoto, TriageError."""
        if not self._store.has(sha):
            self.load()
            self._store.put(sha, self.embedder.embed(path))

    def load(self) -> None:
        if self._embedder is None:
            self._embedder = Embedder(self._recipe, self._threads)

    @property
    def embedder(self) -> Embedder:
        assert self._embedder is not None  # noqa: S101 - load() comes first
        return self._embedder

    def __call__(self, item: LookedUp) -> PhotoVectors | TriageError:
        """Return a photo's vectors, or why they cannot be kept. Raises BadPhoto."""
        sha, path, kept = item
        if kept is not None:
            return kept
        vectors = self.embedder.embed(path)
        try:
            self._store.put(sha, vectors)
        except TriageError as error:  # it ends the batch: no other photo's vectors can be kept either
            return error
        return vectors


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
        worker.once(task.sha, task.path)
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
    looked_up = worker.looked_up(items)
    with one_blas_thread():
        outcomes = map_items(worker, looked_up, engine="threads", workers=workers, cancel=cancel)
        for done, outcome in enumerate(outcomes, 1):
            if isinstance(outcome, Ok) and isinstance(outcome.value, TriageError):
                raise outcome.value
            if progress:
                progress("embed", done, total)
            yield _of_item(outcome)


def _of_item(outcome: Ok[LookedUp, PhotoVectors | TriageError] | Failed[LookedUp]) -> Done:
    sha, path, _ = outcome.item
    if isinstance(outcome, Failed):
        return Failed((sha, path), outcome.reason)
    assert not isinstance(outcome.value, TriageError)  # noqa: S101 - it was raised before
    return Ok((sha, path), outcome.value)
