"""The machine's words as they are stored: derived from photos and a model, so no events."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert

from triage.batching import lots
from triage.library import listeners
from triage.library.tables import suggestion

if TYPE_CHECKING:
    from triage.library.library import Library
    from triage.library.records import Suggestion

_CHUNK = 500


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
