"""What people said of photo x tag: their labels, and the labels put together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, and_, select

from triage.batching import lots
from triage.domain.reviewing import merge
from triage.library.log import Names
from triage.library.queries.asking import query
from triage.library.queries.statement_queries import settlements
from triage.library.records import Box, Label, Word
from triage.library.tables import label as label_table
from triage.library.tables import placing

_CHUNK = 500


@query
def labels(
    connection: Connection,
    deck: str | None = None,
    photo: str | None = None,
    tag: str | None = None,
    *,
    current: bool = True,
) -> list[Label]:
    """Return label rows in the order they were given; only each person's latest by default."""
    query = select(*_LABEL).where(label_table.c.undone.is_(False))
    if current:
        query = query.where(label_table.c.current.is_(True))
    if photo is not None:
        query = query.where(label_table.c.photo == photo)
    if tag is not None:
        query = query.where(label_table.c.tag == tag)
    here = and_(placing.c.key == label_table.c.photo, placing.c.current.is_(True))
    query = query.join(placing, here)
    if deck is not None:
        query = query.where(placing.c.deck == deck)
    query = query.order_by(label_table.c.lamport, label_table.c.log_id, label_table.c.seq)
    names = Names(connection)
    return [_label(row, names) for row in connection.execute(query)]


def _box(sides: Sequence[float]) -> Box:
    """Return a box in fractions: canonical JSON writes 1.0 as 1, which must not read as another box."""
    x, y, width, height = map(float, sides)
    return (x, y, width, height)


_LABEL = (
    label_table.c.photo,
    label_table.c.tag,
    label_table.c.value,
    label_table.c.by_ref,
    label_table.c.at,
    label_table.c.boxes,
    label_table.c.place_ref,
    label_table.c["count"],
    label_table.c.asked_by,
    label_table.c.saw_machine,
    label_table.c.note_ref,
    label_table.c.event,
)


def _label(row: Sequence[Any], names: Names) -> Label:
    """Return the label of a row of the columns `_LABEL`."""
    photo, tag, value, by, at, boxes, place, count, asked_by, saw_machine, note, event = row
    return Label(
        photo=photo,
        tag=tag,
        value=value,
        by=names.get(by),
        at=at,
        boxes=tuple(_box(box) for box in boxes),
        place=names.maybe(place),
        count=count,
        asked_by=asked_by,
        saw_machine=saw_machine,
        note=names.maybe(note),
        event=event,
    )


@query
def label_row_hashes(connection: Connection) -> set[str]:
    """Return the hashes of label rows that came from files and were not undone."""
    query = select(label_table.c.row_hash).where(
        label_table.c.row_hash.is_not(None), label_table.c.undone.is_(False)
    )
    return {str(row) for row in connection.execute(query).scalars()}


@query
def words(
    connection: Connection, deck: str | None = None, tag: str | None = None, photo: str | None = None
) -> dict[tuple[str, str], Word]:
    """Put the persons' latest words together: `present` and `absent` side by side are a dispute.

    A settlement ends a dispute until somebody says something else after it.
    """
    said: dict[tuple[str, str], list[Label]] = defaultdict(list)
    for one in labels(connection, deck=deck, tag=tag, photo=photo):
        said[one.photo, one.tag].append(one)
    settled = settlements(connection, said.keys() if deck or tag or photo else None)
    if settled:
        places = _event_order(connection, [one.event for rows in said.values() for one in rows])
    found = {}
    for key, rows in said.items():
        event, ruling, later = settled.get(key), None, set[str]()
        if event is not None:
            order, ruling = (event.lamport, event.log_id, event.seq), event.payload["value"]
            later = {one.value for one in rows if places[one.event] > order}
        merged = merge({row.value for row in rows}, ruling, later)
        found[key] = Word(key[0], key[1], merged.value, merged.disputed, merged.settled, tuple(rows))
    return found


def _event_order(connection: Connection, events: Sequence[str]) -> dict[str, tuple[int, str, int]]:
    columns = (label_table.c.event, label_table.c.lamport, label_table.c.log_id, label_table.c.seq)
    found = {}
    for chunk in lots(events, _CHUNK):
        for row in connection.execute(select(*columns).where(label_table.c.event.in_(chunk))):
            found[row.event] = (row.lamport, row.log_id, row.seq)
    return found


@query
def label_log(connection: Connection, sha: str | None) -> list[dict[str, Any]]:
    """Return every label row ever given, undone ones too, with what each replaced."""
    query = select(*_LABEL, label_table.c.undone, label_table.c.key).order_by(
        label_table.c.lamport, label_table.c.log_id, label_table.c.seq
    )
    if sha is not None:
        query = query.where(label_table.c.photo == sha)
    names = Names(connection)
    before: dict[str, str] = {}
    found = []
    for *row, undone, key in connection.execute(query):
        one = _label(row, names)
        found.append(
            {
                "photo": one.photo,
                "tag": one.tag,
                "value": one.value,
                "by": one.by,
                "at": one.at,
                "box": [list(box) for box in one.boxes],
                "place": one.place,
                "count": one.count,
                "asked_by": one.asked_by,
                "saw_machine": one.saw_machine,
                "note": one.note,
                "undone": undone,
                "replaced": before.get(key),
                "event": one.event,
            }
        )
        if not undone:
            before[key] = one.value
    return found
