"""The vectors of a library's photos: computed once, kept in the cache, read by hash."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from triage.embed.batch import embed_many
from triage.embed.recipe import default_recipe
from triage.embed.store import VectorStore
from triage.errors import BadInput, TriageError
from triage.jobs import Failed, default_workers

if TYPE_CHECKING:
    from triage.embed.vectors import PhotoVectors
    from triage.jobs import Cancel, Progress
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
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Embedded:
    """Compute and keep the vectors of photos that have none; a photo that cannot be read is set aside."""
    store = store_of(library)
    missing = store.missing(dict.fromkeys(shas))
    done = Embedded(photos=len(set(shas)), new=0)
    items = []
    for sha in missing:
        try:
            items.append((sha, library.original(sha)))
        except TriageError as error:
            done.set_aside.append((sha, str(error)))
    outcomes = embed_many(
        items, store, workers=default_workers(), total=len(items), progress=progress, cancel=cancel
    )
    for outcome in outcomes:
        if isinstance(outcome, Failed):
            done.set_aside.append((outcome.item[0], outcome.reason))
        else:
            done.new += 1
    done.photos -= len(done.set_aside)
    return done


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
