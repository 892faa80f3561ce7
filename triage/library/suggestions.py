"""The machine's words as they are stored: derived from photos and a model, so no events."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, insert, select, update

from triage.batching import lots
from triage.library import listeners
from triage.library.database import writing
from triage.library.tables import suggestion

if TYPE_CHECKING:
    from triage.library.library import Library
    from triage.library.records import Suggestion

_CHUNK = 500
_COPIED_AT_ONCE = 5000


def keep_suggestions(library: Library, rows: Iterable[Suggestion]) -> None:
    """Store the machine's words; an earlier one of the same photo, tag and model is replaced."""
    values: list[dict[str, Any]] = [
        {
            "photo": row.photo,
            "tag": row.tag,
            "model": row.model,
            "score": row.score,
            "probability": row.probability,
            "pile": row.pile,
            "places": [list(box) for box in row.where],
        }
        for row in rows
    ]
    if not values:
        return
    with library.writing() as connection:
        for model in {value["model"] for value in values}:
            shas = sorted({value["photo"] for value in values if value["model"] == model})
            tags = sorted({value["tag"] for value in values if value["model"] == model})
            for lot in lots(shas, _CHUNK):
                connection.execute(
                    delete(suggestion).where(
                        suggestion.c.model == model,
                        suggestion.c.photo.in_(lot),
                        suggestion.c.tag.in_(tags),
                    )
                )
        connection.execute(insert(suggestion), values)
        listeners.photos_changed(connection, [value["photo"] for value in values])


def empty_unlikely(library: Library, model: str, tag: str) -> None:
    """Move a tag's photos from `unlikely` to `unsure`: the machine may not call them unlikely any more."""
    unlikely = (suggestion.c.model == model) & (suggestion.c.tag == tag) & (suggestion.c.pile == "unlikely")
    with writing(library.engine) as connection:
        connection.execute(update(suggestion).where(unlikely).values(pile="unsure"))
        listeners.all_changed(connection)


def copy_suggestions(library: Library, other: Library) -> None:
    """Copy the machine's words that are not here; where two differ, `unlikely` gives way to `unsure`."""
    with other.read() as there, writing(library.engine) as here:
        known = {
            (row.photo, row.tag, row.model): row.pile
            for row in here.execute(
                select(suggestion.c.photo, suggestion.c.tag, suggestion.c.model, suggestion.c.pile)
            )
        }
        fresh: list[dict[str, Any]] = []
        for row in there.execute(select(suggestion).execution_options(yield_per=_COPIED_AT_ONCE)).mappings():
            pile = known.get((row["photo"], row["tag"], row["model"]))
            if pile is None:
                fresh.append(dict(row))
            elif pile == "unlikely" and row["pile"] == "unsure":
                _demote(here, row)
            if len(fresh) >= _COPIED_AT_ONCE:
                here.execute(insert(suggestion), fresh)
                fresh = []
        if fresh:
            here.execute(insert(suggestion), fresh)
        listeners.all_changed(here)


def _demote(connection: Connection, row: Any) -> None:
    connection.execute(
        update(suggestion)
        .where(
            suggestion.c.photo == row["photo"],
            suggestion.c.tag == row["tag"],
            suggestion.c.model == row["model"],
        )
        .values(pile="unsure")
    )
