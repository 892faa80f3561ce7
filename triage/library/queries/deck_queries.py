"""Which decks there are, and their visits."""

from __future__ import annotations

from sqlalchemy import Connection, func, select, union

from triage.library.queries.asking import query
from triage.library.records import UNSORTED
from triage.library.tables import placing, statement


@query
def decks(connection: Connection) -> list[str]:
    """Return the codes of all decks, in order; where photos wait for a deck is none of them.

    Steps along an index from one deck to the next, without looking at every photo.
    """
    walk = select(func.min(placing.c.deck).label("deck")).cte("walk", recursive=True)
    after = select(func.min(placing.c.deck)).where(placing.c.deck > walk.c.deck).scalar_subquery()
    walk = walk.union_all(select(after).where(walk.c.deck.is_not(None)))
    here = select(placing.c.key).where(placing.c.deck == walk.c.deck, placing.c.current.is_(True))
    placed = select(walk.c.deck).where(walk.c.deck.is_not(None), here.exists())
    said = select(statement.c.deck).where(
        statement.c.current.is_(True), statement.c.kind.in_(("fact", "finding", "tier"))
    )
    found = connection.execute(union(placed, said)).scalars()
    return sorted(str(deck) for deck in found if deck and deck != UNSORTED)


@query
def is_deck(connection: Connection, deck: str) -> bool:
    """Say whether a deck is known, as `decks` lists it."""
    placed = select(placing.c.deck).where(placing.c.current.is_(True), placing.c.deck == deck)
    said = select(statement.c.deck).where(
        statement.c.current.is_(True),
        statement.c.kind.in_(("fact", "finding", "tier")),
        statement.c.deck == deck,
    )
    asked = deck and deck != UNSORTED
    return bool(asked and any(connection.execute(query.limit(1)).first() for query in (placed, said)))


@query
def visits(connection: Connection, deck: str) -> list[str | None]:
    """Return a deck's visits, oldest first; null where no date is known."""
    query = select(placing.c.visit).where(placing.c.current.is_(True), placing.c.deck == deck).distinct()
    found = set(connection.execute(query).scalars())
    dated = select(statement.c.payload).where(
        statement.c.current.is_(True),
        statement.c.deck == deck,
        statement.c.kind.in_(("fact", "finding", "tier")),
    )
    found |= {payload.get("visit") for payload in connection.execute(dated).scalars() if payload.get("visit")}
    return sorted(found, key=lambda visit: visit or "")


@query
def latest_visit(connection: Connection, deck: str) -> str | None:
    """Return a deck's latest visit, the present one; null where no date is known."""
    found = visits(connection, deck)
    return found[-1] if found else None
