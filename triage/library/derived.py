"""Answers that followed from another answer: which ones, and from which.

An answer about a part answers what hangs on it. Such a label's event names the answer that it follows from
(`derived`), so that it can be shown as such, and taken back when that answer changes.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from triage.batching import lots
from triage.library.tables import event, label, placing

if TYPE_CHECKING:
    from triage.library.library import Library

FIELD = "derived"
"""Field of a label's event that names the tag whose answer it follows from."""
_HAS_FIELD = f'%"{FIELD}":"%'
_LOT = 400


def derived_in(
    connection: Connection, *, deck: str | None = None, photos: Collection[str] | None = None
) -> dict[str, str]:
    """Return the current labels that followed from another: event to the tag that it follows from.

    Of one deck, of some photos, or of all.
    """
    query = (
        select(event.c.hash, event.c.payload)
        .join(label, label.c.event == event.c.hash)
        .where(label.c.current.is_(True), label.c.undone.is_(False), event.c.payload.like(_HAS_FIELD))
    )
    if deck is not None:
        here = (placing.c.key == label.c.photo) & placing.c.current.is_(True)
        query = query.join(placing, here).where(placing.c.deck == deck)
    queries = [query]
    if photos is not None:
        queries = [query.where(label.c.photo.in_(lot)) for lot in lots(sorted(photos), _LOT)]
    found: dict[str, str] = {}
    for one in queries:
        for row in connection.execute(one):
            part = json.loads(row.payload).get(FIELD)
            if isinstance(part, str):
                found[row.hash] = part
    return found


def derived_of(library: Library, deck: str | None = None) -> dict[str, str]:
    """Return the current labels of a deck, or of all, that followed from another: event to that tag."""
    with library.read() as connection:
        return derived_in(connection, deck=deck)
