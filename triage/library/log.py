"""The event log: an append-only chain, each event carrying the hash of the one before it.

The hash is SHA-256 (FIPS 180-4) over the canonical JSON (RFC 8785) of every field but the hash itself.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import rfc8785
from sqlalchemy import Connection, RowMapping, func, insert, select, update
from sqlalchemy.exc import DatabaseError, NoResultFound

from triage.batching import lots
from triage.errors import BadInput
from triage.library.people import People, pseudonym
from triage.library.tables import event as event_table
from triage.library.tables import private as private_table

GENESIS = "0" * 64
_LOT = 1000


@dataclass(frozen=True)
class Event:
    """One thing that was said or done. `by` is the person's name where it is still known."""

    log_id: str
    seq: int
    lamport: int
    kind: str
    act: str
    payload: Mapping[str, Any]
    at: str
    recorded_at: str
    by_ref: str
    prev_hash: str
    hash: str
    by: str = ""


@dataclass(frozen=True)
class EventDraft:
    """Something about to be said: kind, payload, who, when, and the texts that must stay deletable."""

    kind: str
    payload: Mapping[str, Any]
    by: str
    at: str | None = None
    private: Mapping[str, str] = field(default_factory=dict)


def now() -> str:
    """Return the present time as ISO 8601 in UTC with microseconds."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def new_id() -> str:
    """Return a random identifier of 128 bits."""
    return secrets.token_hex(16)


def canonical(value: Any) -> str:
    """Return canonical JSON (RFC 8785) as text."""
    return rfc8785.dumps(value).decode()


def event_hash(row: Mapping[str, Any] | RowMapping) -> str:
    """Return the SHA-256 of an event's canonical form (every column but `hash`)."""
    body = {key: row[key] for key in _HASHED}
    return hashlib.sha256(rfc8785.dumps(body)).hexdigest()


_HASHED = (
    "log_id",
    "seq",
    "lamport",
    "kind",
    "act",
    "payload",
    "at",
    "recorded_at",
    "by_ref",
    "prev_hash",
)


def keep_private(connection: Connection, text: str, known: dict[str, str]) -> str:
    """Store a text apart from the chain and return the salted hash by which events refer to it.

    Raises BadInput for a text with a NUL character, which PostgreSQL cannot keep.
    """
    if text in known:
        return known[text]
    if any("\ud800" <= char <= "\udfff" for char in text):
        raise BadInput("A text holds bytes that are not valid UTF-8.", "Type it again.")
    if "\0" in text:
        raise BadInput("A text holds a NUL character, which cannot be stored.", "Remove it and try again.")
    found = connection.execute(
        select(private_table.c.ref).where(private_table.c.text == text).order_by(private_table.c.ref)
    ).scalar()
    if found is None:
        salt = secrets.token_hex(16)
        found = hashlib.sha256((salt + text).encode()).hexdigest()
        connection.execute(insert(private_table).values(ref=found, salt=salt, text=text))
    known[text] = found
    return str(found)


def append(
    connection: Connection, log_id: str, said: Sequence[EventDraft], act: str | None = None
) -> list[Event]:
    """Append events to this library's own chain; the caller holds the write transaction.

    All of one call belong to one act, which `undo` takes back as a whole. Returns them in order.
    """
    tail = connection.execute(
        select(event_table.c.seq, event_table.c.hash)
        .where(event_table.c.log_id == log_id)
        .order_by(event_table.c.seq.desc())
        .limit(1)
    ).first()
    seq, prev_hash = (tail.seq, tail.hash) if tail else (0, GENESIS)
    lamport = connection.execute(select(func.max(event_table.c.lamport))).scalar() or 0
    act = act or new_id()
    recorded_at = now()
    known: dict[str, str] = {}
    rows: list[dict[str, Any]] = []
    events: list[Event] = []
    for one in said:
        seq, lamport = seq + 1, lamport + 1
        payload = dict(one.payload)
        refs = {name: keep_private(connection, text, known) for name, text in one.private.items() if text}
        if refs:
            payload["private"] = refs
        row: dict[str, Any] = {
            "log_id": log_id,
            "seq": seq,
            "lamport": lamport,
            "kind": one.kind,
            "act": act,
            "payload": canonical(payload),
            "at": one.at or recorded_at,
            "recorded_at": recorded_at,
            "by_ref": keep_private(connection, one.by, known),
            "prev_hash": prev_hash,
        }
        row["hash"] = prev_hash = event_hash(row)
        rows.append(row)
        events.append(Event(**{**row, "payload": payload}, by=one.by))
    if rows:
        connection.execute(insert(event_table), rows)
    return events


def read(
    connection: Connection, *, kind: str | None = None, recorded_up_to: str | None = None
) -> Iterator[Event]:
    """Yield events in folding order (lamport, log_id, seq), a thousand rows at a time."""
    query = select(event_table).order_by(event_table.c.lamport, event_table.c.log_id, event_table.c.seq)
    if kind is not None:
        query = query.where(event_table.c.kind == kind)
    if recorded_up_to is not None:
        query = query.where(event_table.c.recorded_at <= recorded_up_to)
    names = Names(connection)
    for row in connection.execute(query.execution_options(yield_per=1000)).mappings():
        yield from_row(row, names)


def from_row(row: Mapping[str, Any] | RowMapping, names: Names) -> Event:
    """Return the event of a row of the table."""
    return Event(**{**row, "payload": json.loads(row["payload"])}, by=names.get(row["by_ref"]))


class Names:
    """Looks private texts up by reference and remembers them; a deleted text reads as a pseudonym."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._known: dict[str, str] = {}
        self._texts: dict[str, str | None] = {}
        self._people: People | None = None

    def get(self, ref: str) -> str:
        """Return a person's one name by any reference, or `person-xxxxxxxx` where it was deleted."""
        if ref not in self._known:
            if self._people is None:
                self._people = People(self._connection)
            text = self.maybe(ref)
            self._known[ref] = pseudonym(ref) if text is None else self._people.name(str(text))
        return self._known[ref]

    def maybe(self, ref: str | None) -> str | None:
        """Return the text of a reference, or null where there is none or it was deleted."""
        if ref is None:
            return None
        if ref not in self._texts:
            text = self._connection.execute(
                select(private_table.c.text).where(private_table.c.ref == ref)
            ).scalar()
            self._texts[ref] = None if text is None else str(text)
        return self._texts[ref]


def faults(connection: Connection) -> list[str]:
    """Check every chain and every private text; return one sentence per fault, none when all is well.

    Where the log cannot be read from end to end, each event is read by itself.
    """
    try:
        found = _chain_faults(_rows(connection))
    except (DatabaseError, ValueError, TypeError):
        found = _chain_faults(_rows_one_by_one(connection))
    return found + _text_faults(connection)


def _rows(connection: Connection) -> Iterator[Mapping[str, Any] | RowMapping]:
    query = select(event_table).order_by(event_table.c.log_id, event_table.c.seq)
    yield from connection.execute(query.execution_options(yield_per=1000)).mappings()


def _rows_one_by_one(connection: Connection) -> Iterator[Mapping[str, Any] | RowMapping]:
    """Yield the events that can be read; of the others only log and number."""
    of_all = select(event_table.c.log_id, event_table.c.seq).order_by(event_table.c.log_id, event_table.c.seq)
    for log_id, seq in connection.execute(of_all).all():
        one = select(event_table).where(event_table.c.log_id == log_id, event_table.c.seq == seq)
        try:
            row = connection.execute(one).mappings().first()
        except (DatabaseError, ValueError, TypeError):
            row = None
        yield row if row is not None else {"log_id": log_id, "seq": seq}


def _chain_faults(rows: Iterable[Mapping[str, Any] | RowMapping]) -> list[str]:
    found: list[str] = []
    last: dict[str, tuple[int, str | None]] = {}
    for row in rows:
        seq, prev_hash = last.get(row["log_id"], (0, GENESIS))
        where = f"event {row['seq']} of log {str(row['log_id'])[:8]}"
        last[row["log_id"]] = (row["seq"], row.get("hash"))
        if "hash" not in row:
            found.append(f"{where}: it cannot be read")
            continue
        if row["seq"] != seq + 1:
            found.append(f"{where}: follows event {seq}; events between them are missing")
        elif prev_hash is not None and row["prev_hash"] != prev_hash:
            found.append(f"{where}: does not follow the event before it")
        if not _is_own_hash(row):
            found.append(f"{where}: its content was changed")
    return found


def _is_own_hash(row: Mapping[str, Any] | RowMapping) -> bool:
    try:
        return bool(event_hash(row) == row["hash"])
    except (ValueError, TypeError, rfc8785.CanonicalizationError):
        return False


def _text_faults(connection: Connection) -> list[str]:
    found: list[str] = []
    for ref in connection.execute(select(private_table.c.ref)).scalars().all():
        try:
            one = select(private_table).where(private_table.c.ref == ref)
            row = connection.execute(one).mappings().one()
            salted = None if row["text"] is None else (row["salt"] + row["text"]).encode()
            sound = salted is None or hashlib.sha256(salted).hexdigest() == ref
        except (DatabaseError, NoResultFound, ValueError, TypeError):
            sound = False
        if not sound:
            found.append(f"private text {str(ref)[:8]}: its content was changed")
    return found


def heads(connection: Connection) -> dict[str, dict[str, Any]]:
    """Return the last sequence number and hash of every chain, by log."""
    newest = (
        select(event_table.c.log_id, func.max(event_table.c.seq).label("seq"))
        .group_by(event_table.c.log_id)
        .subquery()
    )
    query = (
        select(event_table.c.log_id, event_table.c.seq, event_table.c.hash)
        .join(newest, (event_table.c.log_id == newest.c.log_id) & (event_table.c.seq == newest.c.seq))
        .order_by(event_table.c.log_id)
    )
    return {row.log_id: {"seq": row.seq, "hash": row.hash} for row in connection.execute(query)}


def adopt(connection: Connection, events: Iterable[Any], privates: Iterable[Any]) -> int:
    """Copy foreign events and private texts (rows) that are not here; returns how many events were new.

    A text that was deleted on either side is deleted here too. The caller checks the foreign chains first
    and rebuilds the folds afterward.
    """
    newest = select(event_table.c.log_id, func.max(event_table.c.seq).label("seq"))
    have = {row.log_id: row.seq for row in connection.execute(newest.group_by(event_table.c.log_id))}
    count = 0
    fresh_events = (row for row in events if row["seq"] > have.get(row["log_id"], 0))
    for lot in lots(map(dict, fresh_events), _LOT):
        connection.execute(insert(event_table), lot)
        count += len(lot)
    there = {
        row.ref: row.gone
        for row in connection.execute(
            select(private_table.c.ref, private_table.c.text.is_(None).label("gone"))
        )
    }
    gone: list[str] = []
    for lot in lots(map(dict, privates), _LOT):
        fresh = [row for row in lot if row["ref"] not in there]
        gone += [row["ref"] for row in lot if row["text"] is None and there.get(row["ref"]) is False]
        if fresh:
            connection.execute(insert(private_table), fresh)
    for ref in gone:
        connection.execute(update(private_table).where(private_table.c.ref == ref).values(text=None))
    return count
