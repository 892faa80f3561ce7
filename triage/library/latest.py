"""Which of several rows of one key stands, where they were said in more than one library.

Within one chain of events the later row stands. Rows of different chains are compared by what is known:

- A row that was said in view of another replaces it: every event names the rows of other chains that it found
  (`replaces`), so that no clock is needed for what somebody said after a merge.
- Otherwise the later time said stands, if the clocks of both are plausible: no event of the chain before it
  bears a later time and none after it an earlier one, and a word about a photo is not older than the photo.
- Otherwise nobody can tell. Both labels stand, as those of two people would: a contradiction is a dispute and
  the worse one counts. Of other statements the worse tier stands, or else the one furthest in the log; a
  merge names each of them (`undecided`).

How many events a library has decides nothing.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Table, and_, func, select, update

from triage.batching import lots
from triage.domain.tiers import TIERS
from triage.library import keys, people
from triage.library.log import Event, EventDraft, Names, from_row
from triage.library.tables import event, label, photo, placing, statement

TABLES: Mapping[str, Table] = {"label": label, "placing": placing, "statement": statement}
Touched = dict[str, set[str]]
"""Keys by the name of their table."""
_LOT = 400
_AS_LOGGED = re.compile(
    r"[1-9]\d{3}-(0[1-9]|1[0-2])-(0[1-9]|1\d|2[0-8])T([01]\d|2[0-3])(:[0-5]\d){2}\.\d{6}\+00:00", re.A
)
"""A time that is written as the log writes it; the last days of months are left to the calendar."""
_OUT_OF_ZONE = timedelta(hours=26)
"""How far a camera's time without a zone may lie from the time in UTC, with slack for a camera's clock."""


def said_at(at: str, recorded_at: str, *, from_file: bool) -> str | None:
    """Return when something was said, in UTC; null for a word from a file that states no time.

    Words given here were said when they were recorded. No word is given after it was recorded: a file that
    says so was written by a wrong clock.
    """
    if not from_file:
        return utc(recorded_at)
    stated = utc(at) if at != recorded_at else None
    recorded = utc(recorded_at)
    return stated if stated is not None and recorded is not None and stated <= recorded else None


def utc(text: str) -> str | None:
    """Return a time in UTC as the log writes it, or null where it names no zone."""
    if _AS_LOGGED.fullmatch(text):
        return text
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if time.tzinfo is None else time.astimezone(UTC).isoformat(timespec="microseconds")


@dataclass(frozen=True)
class SaidRow:
    """One row of a key, with what tells whether it was said last; `said` is what may be contradicted."""

    event: str
    key: str
    log_id: str
    seq: int
    lamport: int
    said: str
    time: str | None
    recorded_at: str
    sha: str | None
    replaces: tuple[str, ...]
    undone: bool
    current: bool
    tier: str | None

    @property
    def order(self) -> tuple[int, str, int]:
        """Return the row's place in the order of the log."""
        return (self.lamport, self.log_id, self.seq)


# ---- what a new event replaces ------------------------------------------------------------------------


def with_replaced(connection: Connection, own: str, drafts: Sequence[EventDraft]) -> list[EventDraft]:
    """Return the drafts with the rows of other chains that each of them replaces, for the chain `own`."""
    if not _other_chains(connection, own):
        return list(drafts)
    refs = people.one_reference(connection, {one.by for one in drafts if one.kind == "label"})
    places = [_place(one, refs) for one in drafts]
    last: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name, table in TABLES.items():
        wanted = {place[1] for place in places if place is not None and place[0] == name}
        for lot in lots(sorted(wanted), _LOT):
            for key, rows in _rows(connection, table, lot).items():
                others = [row for row in _last_of_each_chain(rows) if row.log_id != own]
                last[name, key] = sorted(row.event for row in others)
    return [
        replace(one, payload={**one.payload, "replaces": last[place]}) if place and last[place] else one
        for one, place in zip(drafts, places, strict=True)
    ]


def _place(draft: EventDraft, refs: Mapping[str, str]) -> tuple[str, str] | None:
    """Return table and key of what a draft will be, where one row stands at a time."""
    if draft.kind == "label":
        return ("label", keys.label_key(draft.payload, refs[draft.by])) if draft.by in refs else None
    if draft.kind in ("placed", "moved"):
        return "placing", draft.payload["sha"]
    if draft.kind in keys.DECIDED:
        return "statement", keys.statement_key(draft.kind, draft.payload, "")
    return None


def _other_chains(connection: Connection, own: str) -> bool:
    other = select(event.c.log_id).where((event.c.log_id < own) | (event.c.log_id > own)).limit(1)
    return connection.execute(other).first() is not None


def _several_chains(connection: Connection) -> bool:
    first, last = connection.execute(select(func.min(event.c.log_id), func.max(event.c.log_id))).one()
    return bool(first != last)


# ---- which rows stand ----------------------------------------------------------------------------------


def resolve(connection: Connection, touched: Touched, *, every: bool = False) -> None:
    """Set which rows of some keys are current, where they were said in several chains (or `every` key)."""
    if not any(touched.values()) or not (every or _several_chains(connection)):
        return
    clocks = _Clocks(connection)
    for name, found in touched.items():
        table = TABLES[name]
        for lot in lots(sorted(found), _LOT):
            _set_current(connection, table, lot if every else _across(connection, table, lot), clocks)


def resolve_all(connection: Connection) -> bool:
    """Set which rows of every key are current that was spoken of in several chains.

    Returns whether there are several chains: within one, no clock decides anything.
    """
    if not _several_chains(connection):
        return False
    clocks = _Clocks(connection)
    for table in TABLES.values():
        for lot in lots(_across(connection, table), _LOT):
            _set_current(connection, table, lot, clocks)
    return True


def undecided(connection: Connection) -> list[tuple[str, str]]:
    """Return (about what, why) for every key of which nobody can tell what was said last."""
    if not _several_chains(connection):
        return []
    clocks, names, found = _Clocks(connection), Names(connection), []
    for table in TABLES.values():
        for lot in lots(_across(connection, table), _LOT):
            for rows in _rows(connection, table, lot).values():
                last = standing(rows, clocks.is_plausible)
                if len({row.said for row in last}) > 1:
                    found.append(_asked(connection, last, names))
    return sorted(found)


def _asked(connection: Connection, last: Sequence[SaidRow], names: Names) -> tuple[str, str]:
    """Return about what, and by whom, statements were made of which the clocks do not tell the later one."""
    query = select(event).where(event.c.hash.in_([row.event for row in last]))
    events = [from_row(row, names) for row in connection.execute(query).mappings()]
    said, people_named = events[0].payload, " and ".join(sorted({one.by for one in events}))
    about = [str(said[name]) for name in ("deck", "key", "field", "tag") if said.get(name)]
    sha = said.get("photo") or said.get("sha")
    what = " ".join([f"photo {str(sha)[:12]}", *about] if sha else about)
    return what, (
        f"{people_named} said different things in different libraries, and the clocks do not tell which "
        "came last: say it again"
    )


def clock_went_back(connection: Connection, first: Event) -> bool:
    """Say whether an event bears an earlier time than the one before it in its chain, or begins the chain.

    Then words that were said earlier may have to be compared again.
    """
    before = select(event.c.recorded_at).where(event.c.log_id == first.log_id, event.c.seq == first.seq - 1)
    last = connection.execute(before).scalar()
    return last is None or str(last) > first.recorded_at


def _across(connection: Connection, table: Table, among: Collection[str] | None = None) -> list[str]:
    """Return the keys that have rows of several chains which were not taken back."""
    query = select(table.c.key).where(table.c.undone.is_(False))
    if among is not None:
        query = query.where(table.c.key.in_(among))
    if table is statement:
        query = query.where(statement.c.kind.in_(keys.DECIDED))
    query = query.group_by(table.c.key).having(func.min(table.c.log_id) != func.max(table.c.log_id))
    return sorted(map(str, connection.execute(query).scalars()))


def _set_current(connection: Connection, table: Table, asked: Sequence[str], clocks: _Clocks) -> None:
    if not asked:
        return
    stands, falls = [], []
    for rows in _rows(connection, table, asked).values():
        last = standing(rows, clocks.is_plausible)
        several = table is label and len({row.said for row in last}) > 1
        chosen = {row.event for row in (_one_of_each(last) if several else last[:1])}
        stands += [row.event for row in rows if row.event in chosen and not row.current]
        falls += [row.event for row in rows if row.event not in chosen and row.current]
    for events, value in ((falls, False), (stands, True)):
        for lot in lots(events, _LOT):
            connection.execute(update(table).where(table.c.event.in_(lot)).values(current=value))


def standing(rows: Sequence[SaidRow], is_plausible: Callable[[SaidRow], bool]) -> list[SaidRow]:
    """Return the rows of one key of which each may be the last said, the one to choose first.

    More than one with different content: nobody can tell.
    """
    last = _last_of_each_chain(rows)
    if not last:
        return []
    by_event = {row.event: row for row in rows}
    named = [by_event[one] for row in rows if not row.undone for one in row.replaces if one in by_event]
    left = [
        row for row in last if not any(one.log_id == row.log_id and one.seq >= row.seq for one in named)
    ] or last
    left.sort(key=lambda row: row.order, reverse=True)
    if len({row.said for row in left}) == 1:
        return left[:1]
    if all(map(is_plausible, left)):
        newest = max(row.time or "" for row in left)
        winners = [row for row in left if row.time == newest]
        if len({row.said for row in winners}) == 1:
            return winners[:1]
    return sorted(left, key=lambda row: TIERS.index(row.tier) if row.tier in TIERS else 0)


def _last_of_each_chain(rows: Iterable[SaidRow]) -> list[SaidRow]:
    last: dict[str, SaidRow] = {}
    for row in rows:
        if not row.undone and (row.log_id not in last or row.seq > last[row.log_id].seq):
            last[row.log_id] = row
    return list(last.values())


def _one_of_each(rows: Sequence[SaidRow]) -> list[SaidRow]:
    """Return one row of each content, the furthest in the log."""
    found: dict[str, SaidRow] = {}
    for row in sorted(rows, key=lambda row: row.order):
        found[row.said] = row
    return list(found.values())


def _rows(connection: Connection, table: Table, asked: Sequence[str]) -> dict[str, list[SaidRow]]:
    """Return the rows of some keys, in the order of the log, those that were taken back too."""
    base = (table.c.event, table.c.key, table.c.log_id, table.c.seq, table.c.lamport)
    query = (
        select(*base, table.c.undone, table.c.current, event.c.payload, event.c.at, event.c.recorded_at)
        .join(event, and_(event.c.log_id == table.c.log_id, event.c.seq == table.c.seq))
        .where(table.c.key.in_(asked))
        .order_by(table.c.lamport, table.c.log_id, table.c.seq)
    )
    found: dict[str, list[SaidRow]] = defaultdict(list)
    for row in connection.execute(query):
        payload = json.loads(row.payload)
        found[row.key].append(
            SaidRow(
                event=row.event,
                key=row.key,
                log_id=row.log_id,
                seq=row.seq,
                lamport=row.lamport,
                said=_content(table, payload),
                time=said_at(row.at, row.recorded_at, from_file=payload.get("row") is not None),
                recorded_at=row.recorded_at,
                sha=payload.get("photo") if table is label else None,
                replaces=tuple(payload.get("replaces", ())),
                undone=row.undone,
                current=row.current,
                tier=payload.get("tier") if table is statement else None,
            )
        )
    return found


def _content(table: Table, payload: Mapping[str, Any]) -> str:
    """Return in what two rows of one key may contradict each other."""
    if table is label:
        return str(payload["value"])
    if table is placing:
        return json.dumps([payload["deck"], payload.get("visit")])
    return json.dumps([payload.get(name) for name in ("value", "tier")] + [payload.get("private")])


class _Clocks:
    """Whether the time of an event can be believed, by what the log itself holds."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._chains: dict[str, tuple[list[int], list[str], list[str]]] = {}
        self._photos: dict[str, str] = {}

    def is_plausible(self, row: SaidRow) -> bool:
        """Say whether a row's time is known and fits the events around it and its photo."""
        recorded = utc(row.recorded_at)
        if row.time is None or recorded is None:
            return False
        numbers, before, after = self._chain(row.log_id)
        place = bisect_left(numbers, row.seq)
        if not before[place] <= recorded <= after[place]:
            return False
        return row.sha is None or recorded >= self._photo(row.sha)

    def _chain(self, log_id: str) -> tuple[list[int], list[str], list[str]]:
        """Return the numbers of a chain's events, the latest time up to each and the earliest from it on."""
        if log_id not in self._chains:
            query = select(event.c.seq, event.c.recorded_at).where(event.c.log_id == log_id)
            rows = self._connection.execute(query.order_by(event.c.seq)).all()
            times = [utc(str(row.recorded_at)) or "~" for row in rows]
            before, after = times[:], times[:]
            for place in range(1, len(times)):
                before[place] = max(before[place], before[place - 1])
            for place in range(len(times) - 2, -1, -1):
                after[place] = min(after[place], after[place + 1])
            self._chains[log_id] = [row.seq for row in rows], before, after
        return self._chains[log_id]

    def _photo(self, sha: str) -> str:
        """Return the time before which nobody can have spoken of a photo."""
        if sha not in self._photos:
            query = (
                select(event.c.recorded_at)
                .join(placing, and_(placing.c.log_id == event.c.log_id, placing.c.seq == event.c.seq))
                .where(placing.c.key == sha, event.c.kind == "placed")
            )
            came = [utc(str(one)) or "" for one in self._connection.execute(query).scalars()]
            taken = self._connection.execute(select(photo.c.taken_at).where(photo.c.sha == sha)).scalar()
            self._photos[sha] = max(min(came, default=""), _earliest(taken))
        return self._photos[sha]


def _earliest(taken_at: str | None) -> str:
    """Return the earliest time in UTC at which a picture can have been taken, by its camera."""
    try:
        time = datetime.fromisoformat(taken_at or "")
        zoned = time if time.tzinfo else time.replace(tzinfo=UTC)
        return (zoned - _OUT_OF_ZONE).astimezone(UTC).isoformat(timespec="microseconds")
    except (ValueError, OverflowError):
        return ""
