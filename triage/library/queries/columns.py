"""Whole columns of the library, some hundred rows at a time, for counting over millions of labels.

Rows come straight from the driver as one tuple a column. `digits` asks for so many first characters of a
photo's hash in place of all of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, func, select

from triage.library.tables import label, photo, placing

_ROWS = 500
Columns = Iterator[list[tuple[Any, ...]]]


def placed_columns(connection: Connection) -> Columns:
    """Yield (photo, deck) of placed photos, by hash."""
    query = (
        select(placing.c.sha, placing.c.deck)
        .join(photo, photo.c.sha == placing.c.sha)
        .where(placing.c.current.is_(True), photo.c.state == "here")
        .order_by(placing.c.sha)
    )
    return _partitions(connection, query)


def label_columns(connection: Connection, tags: Sequence[str] | None, *, digits: int | None) -> Columns:
    """Yield (photo, tag, by_ref, value, saw_machine) of every current label, of all tags or some."""
    query = select(
        _some(label.c.photo, digits), label.c.tag, label.c.by_ref, label.c.value, label.c.saw_machine
    ).where(_scanned(label.c.current, False).is_(True), label.c.undone.is_(False))
    if tags is not None:
        query = query.where(label.c.tag.in_(list(tags)))
    return _partitions(connection, query)


def _some(column: ColumnElement[Any], digits: int | None) -> ColumnElement[Any]:
    return column if digits is None else func.substr(column, 1, digits)


def _scanned(column: ColumnElement[Any], otherwise: Any) -> ColumnElement[Any]:
    """A column whose index is of no use: nearly all rows are wanted, and one scan reads them in order."""
    return func.coalesce(column, otherwise)


def _partitions(connection: Any, query: Select[Any]) -> Columns:
    statement = query.compile(dialect=connection.dialect, compile_kwargs={"literal_binds": True})
    cursor = connection.connection.cursor()
    try:
        cursor.execute(str(statement))
        while rows := cursor.fetchmany(_ROWS):
            yield list(zip(*rows, strict=True))
    finally:
        cursor.close()
