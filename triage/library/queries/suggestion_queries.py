"""What the machine said of photo x tag, and which model said it."""

from __future__ import annotations

from sqlalchemy import Connection, and_, select

from triage.library.queries.asking import query
from triage.library.queries.statement_queries import statements
from triage.library.records import Suggestion
from triage.library.tables import placing
from triage.library.tables import suggestion as suggestion_table


@query
def model_in_use(connection: Connection) -> str | None:
    """Return the hash of the model in use, or null."""
    trained = statements(connection, "trained")
    return str(trained[-1].payload["model"]) if trained else None


@query
def suggestions(
    connection: Connection,
    deck: str | None = None,
    tag: str | None = None,
    model: str | None = None,
    photo: str | None = None,
) -> dict[tuple[str, str], Suggestion]:
    """Return suggestions by (photo, tag) of the model in use, or a named one; of photos still placed."""
    model = model or model_in_use(connection)
    if model is None:
        return {}
    table = suggestion_table
    here = and_(placing.c.key == table.c.photo, placing.c.current.is_(True))
    words = (table.c.photo, table.c.tag, table.c.model, table.c.score, table.c.probability, table.c.pile)
    query = select(*words, table.c.places).join(placing, here)
    if photo is None:  # with a photo its few rows are picked by hand: the model's index would be a long walk
        query = query.where(table.c.model == model)
    if deck is not None:
        query = query.where(placing.c.deck == deck)
    if tag is not None:
        query = query.where(table.c.tag == tag)
    if photo is not None:
        query = query.where(table.c.photo == photo)
    return {
        (sha, named): Suggestion(
            sha, named, by_model, score, probability, pile, tuple(tuple(box) for box in places)
        )
        for sha, named, by_model, score, probability, pile, places in connection.execute(
            query.order_by(table.c.photo, table.c.tag)
        )
        if by_model == model
    }
