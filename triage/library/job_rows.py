"""Rows of long work and of uploads: what the page started in a library, and how it ended."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, insert, select, update

from triage.library.database import writing
from triage.library.queries.asking import query
from triage.library.tables import job

if TYPE_CHECKING:
    from triage.library.library import Library


def add_job(library: Library, **row: Any) -> None:
    """Add a row; its columns are those of the table `job`."""
    with writing(library.engine) as connection:
        connection.execute(insert(job).values(**row))


def change_job(library: Library, job_id: str, kind: str | None = None, **values: Any) -> None:
    """Change columns of a row, where it is of the kind that is named."""
    change = update(job).where(job.c.id == job_id)
    if kind is not None:
        change = change.where(job.c.kind == kind)
    with writing(library.engine) as connection:
        connection.execute(change.values(**values))


@query
def job_of(connection: Connection, job_id: str, kind: str) -> dict[str, Any] | None:
    """Return a row of a kind, or null."""
    found = select(job).where(job.c.id == job_id, job.c.kind == kind)
    row = connection.execute(found).mappings().first()
    return None if row is None else dict(row)


@query
def jobs_in(connection: Connection, states: Sequence[str], kind: str | None = None) -> list[dict[str, Any]]:
    """Return the rows in some states, of all kinds or one, the first started first."""
    found = select(job).where(job.c.state.in_(states)).order_by(job.c.started_at)
    if kind is not None:
        found = found.where(job.c.kind == kind)
    return [dict(row) for row in connection.execute(found).mappings()]
