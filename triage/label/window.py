"""The next questions to ask in a large library, found by index, without reading all of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Select, func, select

from triage.library import queries
from triage.library.tables import label, placing, private, suggestion

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Photo

LARGE = 2_000
"""Photos beyond which only the next decks are read, not the whole library."""
AT_ONCE = 2_000
"""Questions that are read in one go, rounded up to whole decks; when they are answered, ask again."""


def next_decks(library: Library, by: str, tags: Sequence[str], at_once: int = AT_ONCE) -> list[str] | None:
    """Return the decks that hold a person's next questions, or null where the library is small.

    It begins at the deck where this person labelled last and comes round to the first one.
    """
    with library.read() as connection:
        if not _is_large(connection):
            return None
        refs = list(connection.execute(select(private.c.ref).where(private.c.text == by)).scalars())
        begin = _last_deck(connection, refs)
        found: list[str] = []
        open_ones = 0
        for deck in _round_from(connection, begin):
            count = _open(connection, deck, refs, tags)
            if count:
                found.append(deck)
                open_ones += count
            if open_ones >= at_once:
                break
    return found


def _is_large(connection: Connection) -> bool:
    """Say whether the library is large; a moved photo counts as many times as it was placed."""
    few = select(placing.c.event).limit(LARGE + 1).subquery()
    return connection.execute(select(func.count()).select_from(few)).scalar_one() > LARGE


def next_suggested(
    library: Library, tags: Sequence[str], order: str, at_once: int = AT_ONCE
) -> list[tuple[Photo, str]] | None:
    """Return the photos and tags that nobody has answered, first by the machine's words; null where small.

    `order` is `dangerous` (the likeliest first) or `doubtful` (those nearest to a half first).
    """
    model = queries.model_in_use(library)
    with library.read() as connection:
        if model is None or not _is_large(connection):
            return None
        rows: list[Any] = []
        for tag in tags:
            for query in _open_by_rank(model, tag, order):
                rows += connection.execute(query.limit(at_once)).all()
        rows.sort(key=lambda row: _rank(row.probability, order))
        rows = rows[:at_once]
        photos = {
            one.sha: one for one in queries.photos_by_sha(connection, sorted({row.photo for row in rows}))
        }
    return [(photos[row.photo], row.tag) for row in rows if row.photo in photos]


def _rank(probability: float, order: str) -> float:
    return -probability if order == "dangerous" else abs(probability - 0.5)


def _open_by_rank(model: str, tag: str, order: str) -> list[Select[Any]]:
    """Return queries that walk along the index of probabilities, from where the order begins."""
    sha, p = suggestion.c.photo, suggestion.c.probability
    answered = select(label.c.event).where(
        label.c.photo == sha, label.c.current.is_(True), label.c.tag == tag
    )
    here = select(placing.c.event).where(placing.c.key == sha, placing.c.current.is_(True))
    query = select(sha, suggestion.c.tag, p).where(
        suggestion.c.model == model, suggestion.c.tag == tag, ~answered.exists(), here.exists()
    )
    if order == "dangerous":
        return [query.order_by(p.desc())]
    return [query.where(p >= 0.5).order_by(p), query.where(p < 0.5).order_by(p.desc())]


def _round_from(connection: Connection, begin: str) -> Iterator[str]:
    """Yield all decks in order from one on, then those before it; each is a step along the index."""
    first = select(func.min(placing.c.deck))  # of all placings: one that is no longer current costs a step
    deck = connection.execute(first.where(placing.c.deck >= begin)).scalar()
    while deck is not None:
        yield str(deck)
        deck = connection.execute(first.where(placing.c.deck > deck)).scalar()
    deck = connection.execute(first.where(placing.c.deck < begin)).scalar()
    while deck is not None:
        yield str(deck)
        deck = connection.execute(first.where(placing.c.deck > deck, placing.c.deck < begin)).scalar()


def _last_deck(connection: Connection, refs: Sequence[str]) -> str:
    """Return the deck that a person labelled last, or the empty text."""
    from triage.library.tables import event

    last = (
        select(event.c.hash)
        .where(event.c.by_ref.in_(refs), event.c.kind == "label")
        .order_by(event.c.lamport.desc())
        .limit(1)
    )
    hash_ = connection.execute(last).scalar() if refs else None
    query = (
        select(placing.c.deck)
        .join(label, label.c.photo == placing.c.key)
        .where(label.c.event == hash_, placing.c.current.is_(True))
    )
    return str(connection.execute(query).scalar() or "") if hash_ else ""


def _open(connection: Connection, deck: str, refs: Sequence[str], tags: Sequence[str]) -> int:
    """Return how many photo x tag of a deck a person has not answered."""
    here = (placing.c.current.is_(True), placing.c.deck == deck)
    photos = connection.execute(select(func.count()).select_from(placing).where(*here)).scalar_one()
    query = (
        select(func.count())
        .select_from(placing)
        .join(label, label.c.photo == placing.c.key)
        .where(*here, label.c.current.is_(True), label.c.tag.in_(tags), label.c.by_ref.in_(refs))
    )
    return int(photos * len(tags) - connection.execute(query).scalar_one())
