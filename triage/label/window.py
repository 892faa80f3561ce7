"""The next questions to ask in a large library, found by index, without reading all of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Photo

LARGE = 2_000
"""Photos beyond which only the next decks are read, not the whole library."""
AT_ONCE = 2_000
"""Questions that are read in one go, rounded up to whole decks; when they are answered, ask again."""


def next_decks(library: Library, by: str, tags: Sequence[str], at_once: int = AT_ONCE) -> list[str] | None:
    """Return the decks that hold a person's next questions, or null where the library is small.

    It begins at the deck where this person labeled last and comes round to the first one.
    """
    with library.read() as connection:
        if not queries.has_more_placings(connection, LARGE):
            return None
        refs = queries.refs_of(connection, by)
        begin = queries.last_labeled_deck(connection, refs)
        found: list[str] = []
        open_ones = 0
        for deck in queries.decks_round_from(connection, begin):
            count = queries.unanswered_by(connection, deck, refs, tags)
            if count:
                found.append(deck)
                open_ones += count
            if open_ones >= at_once:
                break
    return found


def next_suggested(
    library: Library, tags: Sequence[str], order: str, at_once: int = AT_ONCE
) -> list[tuple[Any, Photo]] | None:
    """Return what the machine said of photos and tags that nobody has answered; null where small.

    These are the first of each tag: for `dangerous` the likeliest, each photo with all its open tags, for
    `doubtful` those nearest to a half.
    """
    model = queries.model_in_use(library)
    with library.read() as connection:
        if model is None or not queries.has_more_placings(connection, LARGE):
            return None
        rows: list[Any] = []
        for tag in tags:
            rows += queries.unanswered_by_rank(connection, model, tag, order, at_once)
        if order == "dangerous":
            shas = sorted({row.photo for row in rows})
            rows = queries.unanswered_of_photos(connection, model, shas, tags)
        else:
            rows.sort(key=lambda row: abs(row.probability - 0.5))
            rows = rows[:at_once]
        photos = {
            one.sha: one for one in queries.photos_by_sha(connection, sorted({row.photo for row in rows}))
        }
    return [(row, photos[row.photo]) for row in rows if row.photo in photos]
