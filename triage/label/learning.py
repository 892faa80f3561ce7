"""The orders `learning` and `like` over a library: its photos as pools, one per tag, asked in turn."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING

from triage.library import queries

if TYPE_CHECKING:
    from triage.label.selection import Pool
    from triage.library import Library
    from triage.library.records import Photo, Suggestion, Word

MOST_A_RUN = 200
"""Photos per tag in one run of `learning`: what is worth asking after that hangs on the answers."""
AT_ONCE = 60
"""Photos that get their vectors before the first question; those beyond wait for `embed` or `presort`."""
NOT_PRESORTED = 0.5
"""The probability used for a photo that the model has not seen yet: as doubtful as can be."""

Words = dict[tuple[str, str], "Word"]


def learning_order(
    library: Library, photos: Sequence[Photo], tags: Sequence[str], words: Words
) -> list[tuple[Photo, str]]:
    """What to ask to teach the models most, as (photo, tag), by `triage.label.selection.next_to_label`.

    Photos without vectors get them, deck by deck in turn, at most `AT_ONCE`; the others are not asked yet.
    A run ends after `MOST_A_RUN` photos a tag.

    Raises
    ------
    BadInput : no photo can be read.
    """
    from triage.label.selection import next_to_label

    ready = _with_vectors(library, photos, AT_ONCE)
    said = queries.suggestions(library)
    pools = [_pool(library, ready, tag, words, said) for tag in tags]
    found = [next_to_label(pool, MOST_A_RUN) for pool in pools]
    return _in_turn(ready, tags, found)


def like_order(
    library: Library, like: Photo, photos: Sequence[Photo], tags: Sequence[str], words: Words
) -> list[tuple[Photo, str]]:
    """What to ask about photos that look like one, nearest first, as (photo, tag); the photo itself first.

    All photos get their vectors.

    Raises
    ------
    BadInput : the photo itself cannot be read.
    """
    from triage.label.selection import next_to_label

    ready = _with_vectors(library, list({one.sha: one for one in (like, *photos)}.values()))
    wanted = {photo.sha for photo in photos}
    found = []
    for tag in tags:
        pool = _pool(library, ready, tag, words, {})
        near = next_to_label(pool, len(ready), order="like", like=like.sha)
        first = [] if (like.sha, tag) in words else [like.sha]
        found.append([*first, *(sha for sha in near if sha in wanted)])
    return _in_turn(ready, tags, found)


def _pool(
    library: Library,
    photos: Sequence[Photo],
    tag: str,
    words: Words,
    said: dict[tuple[str, str], Suggestion],
) -> Pool:
    import numpy as np

    from triage.features.keep import store_of
    from triage.label.selection import Pool

    shas = [photo.sha for photo in photos]
    chances = None
    if any((sha, tag) in said for sha in shas):
        known = [said.get((sha, tag)) for sha in shas]
        chances = np.array([NOT_PRESORTED if one is None else one.probability for one in known])
    return Pool(
        shas,
        [photo.deck for photo in photos],
        store_of(library).whole_matrix(shas),
        np.array([(sha, tag) in words for sha in shas], bool),
        chances,
        ["" if one.burst is None else f"{one.deck}/{one.visit}/{one.burst}" for one in photos],
    )


def _with_vectors(library: Library, photos: Sequence[Photo], most: int | None = None) -> list[Photo]:
    """The photos that have vectors, after at most so many more got them, decks in turn."""
    from triage.errors import BadInput
    from triage.features.keep import embed_photos, store_of

    store = store_of(library)
    missing = set(store.missing([photo.sha for photo in photos]))
    waiting = _decks_in_turn([photo for photo in photos if photo.sha in missing])[:most]
    done = embed_photos(library, [photo.sha for photo in waiting])
    left = set(store.missing([photo.sha for photo in photos]))
    ready = [photo for photo in photos if photo.sha not in left]
    if photos and not ready:
        raise BadInput("No photo can be read.", done.set_aside[0][1] if done.set_aside else "Run verify.")
    return ready


def _decks_in_turn(photos: Sequence[Photo]) -> list[Photo]:
    turns: dict[str, int] = {}
    keyed = []
    for photo in sorted(photos, key=lambda one: hashlib.sha256(one.sha.encode()).hexdigest()):
        turn = turns[photo.deck] = turns.get(photo.deck, 0) + 1
        keyed.append((turn, photo.deck, photo))
    return [photo for _, _, photo in sorted(keyed, key=lambda row: row[:2])]


def _in_turn(
    photos: Sequence[Photo], tags: Sequence[str], found: Sequence[Sequence[str]]
) -> list[tuple[Photo, str]]:
    """The first of each tag, then the second of each, and so on."""
    photo_of = {photo.sha: photo for photo in photos}
    return [
        (photo_of[sha], tag)
        for row in zip_longest(*found)
        for tag, sha in zip(tags, row, strict=True)
        if sha is not None
    ]
