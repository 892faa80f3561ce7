"""Folding events into the tables of the present state.

One function per kind of event; `apply` runs a batch in order. Within one key (a photo x tag x person, a deck
x visit x fact, a photo's place) the newest row that was not undone is the current one.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Table, and_, bindparam, delete, insert, select, update

from triage.batching import lots
from triage.library import keys, latest, listeners, people, removal
from triage.library.latest import Touched
from triage.library.log import Event, Names
from triage.library.tables import event as event_table
from triage.library.tables import label, photo, placing, private, statement

UNDOABLE = (
    "label",
    "fact",
    "finding",
    "tier",
    "moved",
    "settled",
    "closed",
    "lifted",
    "warned",
    "repair-done",
    "deck-set",
    "deck-changed",
    people.SAME_PERSON,
)
"""Kinds of event that `undo` takes back."""

_FEW = 500
_LOT = 5_000
"""Events that are in memory at once."""


def apply(connection: Connection, events: Iterable[Event]) -> int:
    """Fold events, given in order, into the tables; returns how many there were."""
    touched: Touched = defaultdict(set)
    count = _fold(connection, events, touched)
    renamed = touched.pop(_RENAMED, set())
    latest.resolve(connection, touched)
    if renamed:
        latest.resolve(connection, {"label": renamed}, every=True)
    return count


def _fold(connection: Connection, events: Iterable[Event], touched: Touched) -> int:
    count = 0
    for kind, group in groupby(events, key=lambda event: event.kind):
        for run in lots(group, _LOT):
            count += len(run)
            _FOLDS.get(kind, _fold_statements)(connection, run, touched)
            listeners.events_added(connection, run)
    return count


class _Nothing(defaultdict[str, set[str]]):
    """Keys that nobody asks for: after a rebuild all of them are looked at anyway."""

    def __init__(self) -> None:
        super().__init__(set)

    def __missing__(self, key: str) -> set[str]:
        return set()


_RENAMED = "renamed"
"""Beside the tables' names in `Touched`: keys of labels whose speaker turned out to be another one."""


def rebuild(connection: Connection, events: Iterable[Event]) -> int:
    """Empty the fold tables and fold every event again; returns how many events there were.

    What was kept of assessments is dropped too: it may hold texts that have been deleted since.
    """
    listeners.all_dropped(connection)
    for table in (photo, placing, label, statement):
        connection.execute(delete(table))
    count = _fold(connection, events, _Nothing())
    latest.resolve_all(connection)
    return count


def _base(event: Event, key: str) -> dict[str, Any]:
    return {
        "event": event.hash,
        "act": event.act,
        "by_ref": event.by_ref,
        "at": event.at,
        "lamport": event.lamport,
        "log_id": event.log_id,
        "seq": event.seq,
        "undone": False,
        "current": True,
        "key": key,
    }


def _put(connection: Connection, table: Table, rows: Sequence[dict[str, Any]], touched: Touched) -> None:
    """Insert rows in order, so that of each key only the newest is current; `latest` compares chains."""
    touched[table.name].update(row["key"] for row in rows)
    newest = {row["key"]: row["event"] for row in rows}
    for row in rows:
        row["current"] = newest[row["key"]] == row["event"]
    connection.execute(
        update(table)
        .where(table.c.key == bindparam("the_key"), table.c.current.is_(True))
        .values(current=False),
        [{"the_key": key} for key in newest],
    )
    connection.execute(insert(table), rows)


def _fold_photos(connection: Connection, events: Sequence[Event], _touched: Touched) -> None:
    known = set(
        connection.execute(
            select(photo.c.sha).where(photo.c.sha.in_([event.payload["sha"] for event in events]))
        ).scalars()
    )
    rows: dict[str, dict[str, Any]] = {}
    for event in events:
        payload = event.payload
        if payload["sha"] in known or payload["sha"] in rows:
            continue
        rows[payload["sha"]] = {
            "exif_ref": payload.get("private", {}).get("exif"),
            "state": "here",
            **{
                name: payload.get(name)
                for name in (
                    "sha",
                    "bytes",
                    "width",
                    "height",
                    "orientation",
                    "suffix",
                    "taken_at",
                    "camera",
                    "focal_mm",
                    "phash",
                    "quality",
                )
            },
        }
    if rows:
        connection.execute(insert(photo), list(rows.values()))


def _fold_placings(connection: Connection, events: Sequence[Event], touched: Touched) -> None:
    rows = []
    for event in events:
        payload = event.payload
        rows.append(
            {
                **_base(event, payload["sha"]),
                "sha": payload["sha"],
                "deck": payload["deck"],
                "visit": payload.get("visit"),
                "name": payload["name"],
                "origin": payload.get("origin"),
                "why": payload.get("why"),
            }
        )
    _put(connection, placing, rows, touched)
    if isinstance(touched, _Nothing):
        return
    for lot in lots(sorted({row["sha"] for row in rows}), _FEW):  # a word cannot be older than its photo
        spoken = select(label.c.key).where(label.c.photo.in_(lot))
        touched[label.name].update(map(str, connection.execute(spoken).scalars()))


def _fold_labels(connection: Connection, events: Sequence[Event], touched: Touched) -> None:
    rows = []
    speaker = people.one_reference(connection, {event.by for event in events})
    for event in events:
        payload = event.payload
        private = payload.get("private", {})
        rows.append(
            {
                **_base(event, keys.label_key(payload, speaker.get(event.by, event.by_ref))),
                "photo": payload["photo"],
                "tag": payload["tag"],
                "value": payload["value"],
                "boxes": payload.get("boxes", []),
                "place_ref": private.get("place"),
                "count": payload.get("count"),
                "asked_by": payload.get("asked_by", "taken"),
                "saw_machine": payload.get("saw_machine", False),
                "note_ref": private.get("note"),
                "row_hash": payload.get("row"),
            }
        )
    _put(connection, label, rows, touched)


def _fold_statements(connection: Connection, events: Sequence[Event], touched: Touched) -> None:
    rows = [
        {
            **_base(event, keys.statement_key(event.kind, event.payload, event.hash)),
            "kind": event.kind,
            "deck": event.payload.get("deck"),
            "payload": dict(event.payload),
        }
        for event in events
    ]
    _put(connection, statement, rows, touched)


def _fold_undone(connection: Connection, events: Sequence[Event], touched: Touched) -> None:
    """Take words back: their author's own, or anybody's where a reason is on record."""
    for event in events:
        reasoned = bool(event.payload.get("private", {}).get("why"))
        speaker = None if reasoned else sorted({event.by_ref, *people.references(connection, event.by)})
        for table in (label, statement, placing):
            touched[table.name].update(_undo_act(connection, table, event.payload["act"], speaker))
        _fold_statements(connection, [event], touched)
        of_act = select(statement.c.event).where(
            statement.c.act == event.payload["act"], statement.c.kind == "deck-changed"
        )
        if connection.execute(of_act.limit(1)).first() is not None:
            _carry(connection)
        _rename(connection, event.payload["act"], touched)


def _fold_people(connection: Connection, events: Sequence[Event], touched: Touched) -> None:
    """Fold that two spellings are one person's: their labels replace each other from now on."""
    for event in events:
        _fold_statements(connection, [event], touched)
        _rename(connection, event.act, touched)


def _rename(connection: Connection, act: str, touched: Touched) -> None:
    """Put labels under the one reference of their speakers, of those that an act spoke of."""
    said = connection.execute(
        select(statement.c.payload).where(statement.c.act == act, statement.c.kind == people.SAME_PERSON)
    ).scalars()
    named = sorted({ref for payload in said for ref in payload["private"].values()})
    if not named:
        return
    texts = connection.execute(select(private.c.text).where(private.c.ref.in_(named))).scalars()
    names = {str(text) for text in texts if text is not None}
    refs = sorted({ref for name in names for ref in people.references(connection, name)} | set(named))
    known = Names(connection)
    one = people.one_reference(connection, {known.get(ref) for ref in refs})
    for ref in refs:
        query = select(label.c.event, label.c.key, label.c.photo, label.c.tag).where(label.c.by_ref == ref)
        rows = [
            {"the_event": row.event, "new": keys.label_key(row._asdict(), one.get(known.get(ref), ref))}
            for row in connection.execute(query)
        ]
        if rows:
            moved = update(label).where(label.c.event == bindparam("the_event")).values(key=bindparam("new"))
            connection.execute(moved, rows)
            touched[_RENAMED].update(row["new"] for row in rows)


def _fold_deck_changes(connection: Connection, events: Sequence[Event], touched: Touched) -> None:
    """Fold decks that were renamed, joined, split or given another visit."""
    for event in events:
        _fold_statements(connection, [event], touched)
        _carry(connection)


_STAY = ("issued", "deck-changed", "undone", "asked")
"""Statements that stay as they were made when a deck is renamed, joined or split."""


def _carry(connection: Connection) -> None:
    """Put every statement at the deck and visit to which the changes after it carried it.

    Starts from what each statement said itself, so that an undone change leaves no trace.
    """
    changes = [
        ((row.lamport, row.log_id, row.seq), row.payload, row.undone)
        for row in connection.execute(
            select(statement)
            .where(statement.c.kind == "deck-changed")
            .order_by(statement.c.lamport, statement.c.log_id, statement.c.seq)
        )
    ]
    named = {change[key] for _, change, _ in changes for key in ("from", "to")}
    query = (
        select(statement, event_table.c.payload.label("said"))
        .join(event_table, event_table.c.hash == statement.c.event)
        .where(statement.c.deck.in_(sorted(named)), statement.c.kind.not_in(_STAY))
    )
    for row in connection.execute(query).all():
        said = json.loads(row.said)
        now = {**said}
        for order, change, undone in changes:
            if undone or order < (row.lamport, row.log_id, row.seq) or now.get("deck") != change["from"]:
                continue
            if change.get("events") is not None and row.event not in change["events"]:
                continue
            if "visit_to" in change:
                if now.get("visit") == change["visit_from"]:
                    now["visit"] = change["visit_to"]
            else:
                now["deck"] = change["to"]
        if now != row.payload:
            connection.execute(
                update(statement).where(statement.c.event == row.event).values(deck=now["deck"], payload=now)
            )


def _undo_act(
    connection: Connection, table: Table, act: str, speaker: Sequence[str] | None
) -> Collection[str]:
    """Take back the rows of an act, of one speaker or (null) of all; returns their keys."""
    taken = table.c.act == act
    if speaker is not None:
        taken = and_(taken, table.c.by_ref.in_(speaker))
    found = set(connection.execute(select(table.c.key).where(taken, table.c.undone.is_(False))).scalars())
    if not found:
        return found
    connection.execute(update(table).where(taken).values(undone=True, current=False))
    for key in sorted(found):
        before = connection.execute(
            select(table.c.event)
            .where(table.c.key == key, table.c.undone.is_(False))
            .order_by(table.c.lamport.desc(), table.c.log_id.desc(), table.c.seq.desc())
            .limit(1)
        ).scalar()
        if before is not None:
            connection.execute(update(table).where(table.c.event == before).values(current=True))
    return found


def _fold_forgotten(connection: Connection, events: Sequence[Event], touched: Touched) -> None:
    for event in events:
        sha = event.payload["sha"]
        connection.execute(update(photo).where(photo.c.sha == sha).values(state="forgotten"))
        connection.execute(update(placing).where(placing.c.sha == sha).values(current=False))
    removal.mark(connection, [event.payload["sha"] for event in events])
    _fold_statements(connection, events, touched)


_FOLDS: dict[str, Callable[[Connection, Sequence[Event], Touched], None]] = {
    "photo-added": _fold_photos,
    "placed": _fold_placings,
    "moved": _fold_placings,
    "label": _fold_labels,
    "undone": _fold_undone,
    "deck-changed": _fold_deck_changes,
    "forgotten": _fold_forgotten,
    people.SAME_PERSON: _fold_people,
}
