"""Photo x tag that was not answered yet, found by index, without reading a large library."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, func, select

from triage.batching import lots
from triage.library.people import references
from triage.library.queries.asking import query
from triage.library.tables import event, label, placing, suggestion

_LOT = 500


@query
def has_more_placings(connection: Connection, than: int) -> bool:
    """Say whether photos were placed more often than so many times; a moved photo counts each time."""
    few = select(placing.c.event).limit(than + 1).subquery()
    return bool(connection.execute(select(func.count()).select_from(few)).scalar_one() > than)


@query
def refs_of(connection: Connection, person: str) -> list[str]:
    """Return the references by which the log names a person: spellings, and one per library merged."""
    return references(connection, person)


@query
def unanswered_by_rank(connection: Connection, model: str, tag: str, order: str, most: int) -> list[Any]:
    """Return (photo, tag, probability) of placed photos that nobody answered for a tag.

    Walks along the index of probabilities from where the order begins: `dangerous` from the likeliest,
    `doubtful` from a half on both sides, up to so many on each.
    """
    rows: list[Any] = []
    for ranked in _by_rank(model, tag, order):
        rows += connection.execute(ranked.limit(most)).all()
    return rows


@query
def unanswered_of_photos(
    connection: Connection, model: str, shas: Sequence[str], tags: Sequence[str]
) -> list[Any]:
    """Return (photo, tag, probability) of some photos that nobody answered for some tags."""
    found: list[Any] = []
    for lot in lots(shas, _LOT):
        found += connection.execute(
            select(suggestion.c.photo, suggestion.c.tag, suggestion.c.probability).where(
                suggestion.c.model == model,
                suggestion.c.photo.in_(lot),
                suggestion.c.tag.in_(tags),
                _nobody_answered(),
            )
        ).all()
    return found


@query
def open_by_deck(connection: Connection, model: str, tags: Sequence[str], decks: Sequence[str]) -> list[Any]:
    """Return (deck, tag, photos): how many photos of a deck nobody answered for a tag the model speaks of."""
    found = (
        select(placing.c.deck, suggestion.c.tag, func.count().label("photos"))
        .select_from(suggestion)
        .join(placing, placing.c.key == suggestion.c.photo)
        .where(
            suggestion.c.model == model,
            suggestion.c.tag.in_(tags),
            placing.c.current.is_(True),
            placing.c.deck.in_(decks),
            _nobody_answered(),
        )
        .group_by(placing.c.deck, suggestion.c.tag)
        .order_by(placing.c.deck, suggestion.c.tag)
    )
    return list(connection.execute(found).all())


def _nobody_answered() -> ColumnElement[bool]:
    """Say that a suggestion's photo has no answer for its tag."""
    answered = select(label.c.event).where(
        label.c.photo == suggestion.c.photo, label.c.current.is_(True), label.c.tag == suggestion.c.tag
    )
    return ~answered.exists()


def _by_rank(model: str, tag: str, order: str) -> list[Select[Any]]:
    sha, p = suggestion.c.photo, suggestion.c.probability
    here = select(placing.c.event).where(placing.c.key == sha, placing.c.current.is_(True))
    open_ones = select(sha, suggestion.c.tag, p).where(
        suggestion.c.model == model, suggestion.c.tag == tag, _nobody_answered(), here.exists()
    )
    if order == "dangerous":
        return [open_ones.order_by(p.desc())]
    return [open_ones.where(p >= 0.5).order_by(p), open_ones.where(p < 0.5).order_by(p.desc())]


def decks_round_from(connection: Connection, begin: str) -> Iterator[str]:
    """Yield all decks in order from one on, then those before it; each is a step along the index."""
    first = select(func.min(placing.c.deck))  # of all placings: one that is no longer current costs one step
    deck = connection.execute(first.where(placing.c.deck >= begin)).scalar()
    while deck is not None:
        yield str(deck)
        deck = connection.execute(first.where(placing.c.deck > deck)).scalar()
    deck = connection.execute(first.where(placing.c.deck < begin)).scalar()
    while deck is not None:
        yield str(deck)
        deck = connection.execute(first.where(placing.c.deck > deck, placing.c.deck < begin)).scalar()


@query
def last_labeled_deck(connection: Connection, refs: Sequence[str]) -> str:
    """Return the deck that a person (by references) labeled last, or the empty text."""
    last = (
        select(event.c.hash)
        .where(event.c.by_ref.in_(refs), event.c.kind == "label")
        .order_by(event.c.lamport.desc())
        .limit(1)
    )
    hash_ = connection.execute(last).scalar() if refs else None
    deck = (
        select(placing.c.deck)
        .join(label, label.c.photo == placing.c.key)
        .where(label.c.event == hash_, placing.c.current.is_(True))
    )
    return str(connection.execute(deck).scalar() or "") if hash_ else ""


@query
def unanswered_by(connection: Connection, deck: str, refs: Sequence[str], tags: Sequence[str]) -> int:
    """Return how many photo x tag of a deck a person (by references) has not answered."""
    here = (placing.c.current.is_(True), placing.c.deck == deck)
    photos = connection.execute(select(func.count()).select_from(placing).where(*here)).scalar_one()
    answered = (
        select(func.count())
        .select_from(placing)
        .join(label, label.c.photo == placing.c.key)
        .where(*here, label.c.current.is_(True), label.c.tag.in_(tags), label.c.by_ref.in_(refs))
    )
    return int(photos * len(tags) - connection.execute(answered).scalar_one())
