"""Events of the log, and acts of several events."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, MappingResult, func, or_, select, true

from triage.errors import BadInput
from triage.library import log
from triage.library.log import Event, Names, from_row
from triage.library.people import references
from triage.library.queries.asking import query
from triage.library.tables import FOLDS
from triage.library.tables import event as event_table
from triage.library.tables import private as private_table

_AT_ONCE = 1000


def with_texts(event: Event, names: Names, carried: Mapping[str, Any] | None = None) -> Event:
    """Return an event with its private texts, at the deck and visit to which it was carried."""
    payload = dict(event.payload)
    for field in ("deck", "visit"):
        if carried is not None and field in carried:
            payload[field] = carried[field]
    for field, ref in payload.pop("private", {}).items():
        payload[field] = names.maybe(ref)
    return Event(**{**event.__dict__, "payload": payload})


@query
def last_act(
    connection: Connection, by: str, kinds: Sequence[str], chains: Sequence[tuple[str, int | None]]
) -> str | None:
    """Return the last act of a person in some chains that can be undone and was not, or null.

    chains : (log, last number that counts, or null for all of it). What the same person said in another
    library, and a merge brought here, is taken back there.
    """
    refs = references(connection, by)
    acts = select(event_table.c.act).where(event_table.c.by_ref.in_(refs), event_table.c.kind.in_(kinds))
    here = [
        (event_table.c.log_id == chain) & (true() if last is None else event_table.c.seq <= last)
        for chain, last in chains
    ]
    acts = acts.where(or_(*here))
    undone = {
        json.loads(payload)["act"]
        for payload in connection.execute(
            select(event_table.c.payload).where(event_table.c.kind == "undone")
        ).scalars()
    }
    order = (event_table.c.lamport.desc(), event_table.c.log_id.desc(), event_table.c.seq.desc())
    for act in connection.execute(acts.order_by(*order)).scalars():
        if act not in undone:
            return str(act)
    return None


@query
def standing_act(connection: Connection, start: str, kinds: Sequence[str]) -> str:
    """Return the act of an event by the start of its hash. Raises BadInput where nothing of it stands."""
    if len(start) < 8 or set(start) - set("0123456789abcdef"):
        raise BadInput(f"{start!r} is not the hash of an event.", _SEE_LOG)
    query = select(event_table.c.act, event_table.c.kind).where(event_table.c.hash.like(f"{start}%"))
    rows = connection.execute(query.limit(2)).all()
    if len(rows) != 1:
        raise BadInput(f"{len(rows) or 'No'} events begin with {start}.", _SEE_LOG)
    if rows[0].kind not in kinds:
        raise BadInput(f"An event of the kind {rows[0].kind} cannot be taken back.", _SEE_LOG)
    act = str(rows[0].act)
    for table in FOLDS:
        if "act" in table.c:
            stands = select(table.c.event).where(table.c.act == act, table.c.undone.is_(False)).limit(1)
            if connection.execute(stands).first() is not None:
                return act
    raise BadInput("That was taken back already.", _SEE_LOG)


_SEE_LOG = "See the hashes with: deck-triage label log PHOTO --json, or: deck-triage audit register --json"


@query
def events_of_act(connection: Connection, act: str) -> list[Event]:
    """Return the events of one act, in order, with private texts put back."""
    query = select(event_table).where(event_table.c.act == act).order_by(event_table.c.seq)
    names = Names(connection)
    return [with_texts(from_row(row, names), names) for row in connection.execute(query).mappings()]


@query
def event_count(connection: Connection) -> int:
    """Return the length of all chains together."""
    return int(connection.execute(select(func.count()).select_from(event_table)).scalar_one())


@query
def log_faults(connection: Connection) -> list[str]:
    """Return one sentence per fault of the event log."""
    return log.faults(connection)


@query
def event_hash(connection: Connection, log_id: str, seq: int) -> str | None:
    """Return the hash of an event of a chain, or null where it is not here."""
    found = select(event_table.c.hash).where(event_table.c.log_id == log_id, event_table.c.seq == seq)
    hash_ = connection.execute(found).scalar()
    return None if hash_ is None else str(hash_)


@query
def event_hashes(connection: Connection, log_prefix: str, seq: int) -> list[str]:
    """Return the hashes of the events of one number in the chains whose name begins with a text."""
    named = event_table.c.log_id.startswith(log_prefix, autoescape=True)
    found = select(event_table.c.hash).where(named, event_table.c.seq == seq)
    return [str(one) for one in connection.execute(found).scalars()]


@query
def lamport(connection: Connection) -> int:
    """Return how far the log has come."""
    return int(connection.execute(select(func.max(event_table.c.lamport))).scalar() or 0)


def event_rows(connection: Connection) -> MappingResult:
    """Return the rows of the log as they are stored, chain by chain."""
    found = select(event_table).order_by(event_table.c.log_id, event_table.c.seq)
    return connection.execute(found.execution_options(yield_per=_AT_ONCE)).mappings()


def private_rows(connection: Connection) -> MappingResult:
    """Return the private texts as they are stored."""
    return connection.execute(select(private_table)).mappings()
