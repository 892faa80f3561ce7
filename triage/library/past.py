"""The library as it stood: a read-only view in memory of the events recorded up to a time or a head."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select

from triage.library import log, projections, queries
from triage.library.database import reading, writing
from triage.library.tables import event, meta, metadata, private, statement, suggestion

if TYPE_CHECKING:
    from triage.library.library import Library

Head = Mapping[str, Sequence[Any]]
"""{log id: (sequence number, hash)}."""


def up_to_time(time: str) -> Callable[[Mapping[str, Any]], bool]:
    """Return the test for events recorded up to a time (ISO 8601, in UTC with microseconds)."""
    return lambda row: str(row["recorded_at"]) <= time


def up_to_head(head: Head) -> Callable[[Mapping[str, Any]], bool]:
    """Return the test for events up to the sequence number that a head names for each log."""
    last = {log_id: seq for log_id, (seq, _) in head.items()}
    return lambda row: bool(row["seq"] <= last.get(row["log_id"], 0))


def view_of(
    source: Library,
    keeps: Callable[[Mapping[str, Any]], bool],
    *,
    models: bool = True,
    suggestions: bool = False,
) -> Library:
    """Return a view of the events that `keeps` takes, folded in memory; files stay those of the source.

    With `suggestions` those of the model in use at that moment come along, as they are now; without `models`
    it is a library in which no model was ever trained.
    """
    view = type(source)(None)
    view._path = source._path
    metadata.create_all(view.engine)
    with reading(source.engine) as old, writing(view.engine) as new:
        for table in (meta, private, event):
            rows = [dict(row) for row in old.execute(select(table)).mappings()]
            kept = [row for row in rows if table is not event or keeps(row)]
            if kept:
                new.execute(insert(table), kept)
        projections.rebuild(new, log.read(new))
        if not models:
            new.execute(delete(statement).where(statement.c.kind == "trained"))
    model = queries.model_in_use(view) if suggestions else None
    if model is not None:
        with reading(source.engine) as old, writing(view.engine) as new:
            query = select(suggestion).where(suggestion.c.model == model)
            rows = [dict(row) for row in old.execute(query).mappings()]
            if rows:
                new.execute(insert(suggestion), rows)
    return view
