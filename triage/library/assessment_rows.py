"""Rows of cached assessments: one of each deck, with its whole summary packed beside it.

What is in a row, and when it is out of date, is decided by those who keep it there (`assess/cache`).
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, delete, insert, select, true, update

from triage.batching import lots
from triage.library.queries.asking import query
from triage.library.tables import placing, standing, standing_summary

_CHUNK = 500
_DROPPED_AT_ONCE = 200


@query
def any_kept(connection: Connection) -> bool:
    """Say whether any assessment is kept."""
    return connection.execute(select(standing.c.deck).limit(1)).first() is not None


@query
def bases(connection: Connection) -> dict[str, str]:
    """Return on what the row of each deck rests; the empty text where something new was recorded."""
    return {row.deck: row.basis for row in connection.execute(select(standing.c.deck, standing.c.basis))}


@query
def news_counts(connection: Connection, decks: Sequence[str] | None = None) -> dict[str, int]:
    """Return each deck's count of news, of some decks or of all that have a row."""
    counts = select(standing.c.deck, standing.c.said)
    if decks is not None:
        counts = counts.where(standing.c.deck.in_(decks))
    return {row.deck: int(row.said) for row in connection.execute(counts)}


def begin_rows(connection: Connection, decks: Sequence[str]) -> dict[str, int]:
    """Return each deck's count of news, after making sure that it has a row where news are counted.

    The count of a new row begins anywhere, so that a row dropped and made again is not taken for the old one.
    """
    there = news_counts(connection, decks)
    new = {deck: secrets.randbits(48) for deck in decks if deck not in there}
    if new:
        rows = [{"deck": deck, "basis": "", "said": said} for deck, said in new.items()]
        connection.execute(insert(standing), rows)
    return there | new


def keep_row(connection: Connection, deck: str, said: int, row: Mapping[str, Any], summary: bytes) -> None:
    """Keep the row and the packed summary of a deck, unless its count of news is another one by now."""
    unchanged = (standing.c.deck == deck) & (standing.c.said == said)
    if connection.execute(update(standing).where(unchanged).values(**row)).rowcount:
        connection.execute(delete(standing_summary).where(standing_summary.c.deck == deck))
        connection.execute(insert(standing_summary).values(deck=deck, summary=summary))


@query
def complete_rows(connection: Connection) -> Sequence[Any]:
    """Return the rows of all decks that were assessed, without what rho is fitted to."""
    wanted = [column for column in standing.c if column.name != "mixing"]
    return connection.execute(select(*wanted).where(standing.c.gaps.is_not(None))).all()


@query
def unreviewed_on(connection: Connection, basis: str) -> dict[str, int]:
    """Return how many questions are open on each deck whose row rests on a basis."""
    found = select(standing.c.deck, standing.c.unreviewed).where(standing.c.basis == basis)
    return {deck: number for deck, number in connection.execute(found)}


@query
def packed_summaries(connection: Connection, decks: Sequence[str]) -> dict[str, bytes]:
    """Return the packed summaries of some decks."""
    found = select(standing_summary).where(standing_summary.c.deck.in_(decks))
    return {row.deck: row.summary for row in connection.execute(found)}


@query
def mixings(connection: Connection) -> list[bytes]:
    """Return what rho is fitted to, deck by deck, by name."""
    found = select(standing.c.mixing).where(standing.c.mixing.is_not(None)).order_by(standing.c.deck)
    return list(connection.execute(found).scalars())


def mark_decks(connection: Connection, decks: Iterable[str]) -> None:
    """Mark the rows of some decks as out of date."""
    for chunk in lots(sorted(set(decks)), _CHUNK):
        _mark(connection, standing.c.deck.in_(chunk))


def mark_photos(connection: Connection, shas: Iterable[str]) -> None:
    """Mark the row of every deck that photos are at or have ever been at as out of date."""
    for chunk in lots(sorted(set(shas)), _CHUNK):
        ever_at = select(placing.c.deck).where(placing.c.key.in_(chunk))
        _mark(connection, standing.c.deck.in_(ever_at))


def mark_all(connection: Connection) -> None:
    """Mark all rows as out of date."""
    _mark(connection, true())


def _mark(connection: Connection, which: ColumnElement[bool]) -> None:
    connection.execute(update(standing).where(which).values(basis="", said=standing.c.said + 1))


def drop_decks(connection: Connection, decks: Iterable[str]) -> int:
    """Drop the rows and summaries of some decks; returns how many there were."""
    dropped = 0
    for chunk in lots(sorted(set(decks)), _DROPPED_AT_ONCE):
        for table in (standing, standing_summary):
            dropped += connection.execute(delete(table).where(table.c.deck.in_(chunk))).rowcount
    return dropped


def drop_photos(connection: Connection, shas: Iterable[str]) -> int:
    """Drop what is kept of every deck that photos are or were ever at; returns how many rows there were."""
    dropped = 0
    for chunk in lots(sorted(set(shas)), _CHUNK):
        ever_at = select(placing.c.deck).where(placing.c.key.in_(chunk))
        dropped += drop_decks(connection, list(connection.execute(ever_at).scalars()))
    return dropped


def drop_all(connection: Connection) -> None:
    """Drop everything that is kept, the texts in it too."""
    connection.execute(delete(standing))
    connection.execute(delete(standing_summary))
