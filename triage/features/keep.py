"""The vectors of a library's photos: computed once, kept in the cache, read by hash."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from triage.batch import Failed, default_workers, map_items
from triage.errors import BadInput, TriageError
from triage.features.batch import EmbedTask, embed_many, embed_task
from triage.features.recipe import default_recipe
from triage.features.store import VectorStore

if TYPE_CHECKING:
    from pathlib import Path

    from triage.batch import Cancel, Progress
    from triage.features.vectors import PhotoVectors
    from triage.library import Library


@dataclass
class Embedded:
    """What embedding did: photos that have vectors now, how many are new, and what could not be done."""

    photos: int = 0
    new: int = 0
    set_aside: list[tuple[str, str]] = field(default_factory=list)


def store_of(library: Library) -> VectorStore:
    """Return the cache of a library's vectors for the default recipe."""
    return VectorStore(library.caches / "vectors", default_recipe())


def embed_photos(
    library: Library,
    shas: Sequence[str],
    *,
    engine: str = "processes",
    dask: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Embedded:
    """Compute and keep the vectors of photos that have none; a photo that cannot be read is set aside.

    `engine` is `here` (one photo after the other), `processes` (all cores of this machine; the network runs
    outside Python, so threads of this process do) or `dask` (the workers of a cluster; originals and
    cache must lie in a folder that they share).
    """
    store = store_of(library)
    missing = store.missing(dict.fromkeys(shas))
    done = Embedded(photos=len(set(shas)), new=0)
    items = []
    for sha in missing:
        try:
            items.append((sha, library.original(sha)))
        except TriageError as error:
            done.set_aside.append((sha, str(error)))
    outcomes: Iterable[tuple[str, str | None]]
    if engine == "dask":
        outcomes = _on_a_cluster(items, store, dask, progress, cancel)
    else:
        workers = 1 if engine == "here" else default_workers()
        made = embed_many(items, store, workers=workers, total=len(items), progress=progress, cancel=cancel)
        outcomes = ((one.item[0], one.reason if isinstance(one, Failed) else None) for one in made)
    for sha, reason in outcomes:
        if reason is not None:
            done.set_aside.append((sha, reason))
        else:
            done.new += 1
    done.photos -= len(done.set_aside)
    return done


def _on_a_cluster(
    items: Sequence[tuple[str, Path]],
    store: VectorStore,
    address: str | None,
    progress: Progress | None,
    cancel: Cancel | None,
) -> Iterator[tuple[str, str | None]]:
    """Yield (photo hash, why not or null) in the order of the items."""
    tasks = [
        EmbedTask(sha, path.absolute(), store.folder.parent.absolute(), store.recipe.sha)
        for sha, path in items
    ]
    outcomes = map_items(embed_task, tasks, engine="dask", address=address, cancel=cancel)
    for number, outcome in enumerate(outcomes, 1):
        if progress:
            progress("embed", number, len(tasks))
        yield outcome.item.sha, outcome.reason if isinstance(outcome, Failed) else None


def vectors_of(library: Library) -> Callable[[str], PhotoVectors]:
    """Return a function from a photo's hash to its vectors, computing them where they are not kept.

    The function raises BadInput or BadPhoto for a photo that cannot be read.
    """
    store = store_of(library)

    def get(sha: str) -> PhotoVectors:
        kept = store.get(sha)
        if kept is None:
            for outcome in embed_many([(sha, library.original(sha))], store, workers=1):
                if isinstance(outcome, Failed):
                    raise BadInput(f"Photo {sha[:12]} cannot be read: {outcome.reason}.", "Run verify.")
                kept = outcome.value
        if kept is None:
            raise BadInput(f"Photo {sha[:12]} has no vectors.", "Run: deck-triage embed")
        return kept

    return get
