"""The present state, read from the folds into records."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Select, and_, func, or_, select, true, union

from triage.batching import lots
from triage.domain.reviewing import merge
from triage.library.bursts import number_bursts
from triage.library.log import Event, Names, from_row
from triage.library.records import (
    UNSORTED,
    Box,
    Closing,
    Fact,
    Finding,
    Label,
    Lift,
    PersonTier,
    Photo,
    Suggestion,
    Warned,
    Word,
)
from triage.library.tables import event as event_table
from triage.library.tables import label as label_table
from triage.library.tables import photo as photo_table
from triage.library.tables import placing, statement
from triage.library.tables import private as private_table
from triage.library.tables import suggestion as suggestion_table

_CHUNK = 500
_ANY = "*"


# ---- photos -----------------------------------------------------------------------------------------


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


def _photo_query() -> Select[Any]:
    return (
        select(photo_table, placing.c.deck, placing.c.visit, placing.c.name)
        .join(placing, and_(placing.c.key == photo_table.c.sha, placing.c.current.is_(True)))
        .where(photo_table.c.state == "here")
    )


def photos(connection: Connection, deck: str | None, visit: str | None = _ANY) -> list[Photo]:
    """Return placed photos by deck, visit, time and name, with their burst numbers."""
    query = _photo_query()
    if deck is not None:
        query = query.where(placing.c.deck == deck)
    if visit != _ANY:
        query = query.where(placing.c.visit == visit)
    return _photos(connection, query)


def placed_shas(connection: Connection, decks: Sequence[str] = ()) -> list[str]:
    """Return the hashes of placed photos, of some decks or of all, by deck, visit, time and name."""
    return [sha for sha, _ in placed_at(connection, decks)]


def placed_at(connection: Connection, decks: Sequence[str] = ()) -> Iterator[tuple[str, str]]:
    """Yield (photo, deck) of placed photos, of some decks or of all, by deck, visit, time and name."""
    query = (
        select(photo_table.c.sha, placing.c.deck)
        .join(placing, and_(placing.c.key == photo_table.c.sha, placing.c.current.is_(True)))
        .where(photo_table.c.state == "here")
        .order_by(placing.c.deck, placing.c.visit, photo_table.c.taken_at, placing.c.name)
    )
    if decks:
        query = query.where(placing.c.deck.in_(decks))
    for row in connection.execute(query.execution_options(yield_per=1000)):
        yield row.sha, row.deck


def reasons(connection: Connection, deck: str) -> dict[str, str]:
    """Return why photos were placed at a deck, where a reason was kept."""
    query = select(placing.c.key, placing.c.why).where(
        placing.c.deck == deck, placing.c.current.is_(True), placing.c.why.is_not(None)
    )
    return {row.key: row.why for row in connection.execute(query)}


def photos_by_sha(connection: Connection, shas: Sequence[str]) -> list[Photo]:
    """Return the photos of some hashes, without burst numbers."""
    return [
        _photo(row, None)
        for lot in lots(shas, _CHUNK)
        for row in connection.execute(_photo_query().where(photo_table.c.sha.in_(lot))).mappings()
    ]


def _photos(connection: Connection, query: Select[Any]) -> list[Photo]:
    rows = [dict(row) for row in connection.execute(query).mappings()]
    rows.sort(key=lambda row: (row["deck"], row["visit"] or "", row["taken_at"] or "9", row["name"]))
    bursts = number_bursts(rows)
    return [_photo(row, burst) for row, burst in zip(rows, bursts, strict=True)]


def _photo(row: Any, burst: int | None) -> Photo:
    return Photo(
        sha=row["sha"],
        deck=row["deck"],
        visit=row["visit"],
        name=row["name"],
        width=row["width"],
        height=row["height"],
        orientation=row["orientation"],
        bytes=row["bytes"],
        taken_at=row["taken_at"],
        burst=burst,
        quality=row["quality"],
        camera=row["camera"],
    )


def private_exif(connection: Connection, sha: str) -> dict[str, Any]:
    """Return the position and serials of a photo, or nothing where they were deleted."""
    ref = connection.execute(select(photo_table.c.exif_ref).where(photo_table.c.sha == sha)).scalar()
    text = Names(connection).maybe(ref)
    return dict(json.loads(text)) if text else {}


# ---- labels -----------------------------------------------------------------------------------------


def labels(
    connection: Connection,
    *,
    deck: str | None = None,
    photo: str | None = None,
    tag: str | None = None,
    current: bool = True,
) -> list[Label]:
    """Return label rows in the order they were given; only each person's latest unless told."""
    query = select(label_table).where(label_table.c.undone.is_(False))
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
    return [_label(row, names) for row in connection.execute(query).mappings()]


def _box(sides: Sequence[float]) -> Box:
    """Return a box in fractions: canonical JSON writes 1.0 as 1, which must not read as another box."""
    x, y, width, height = map(float, sides)
    return (x, y, width, height)


def _label(row: Any, names: Names) -> Label:
    return Label(
        photo=row["photo"],
        tag=row["tag"],
        value=row["value"],
        by=names.get(row["by_ref"]),
        at=row["at"],
        boxes=tuple(_box(box) for box in row["boxes"]),
        place=names.maybe(row["place_ref"]),
        count=row["count"],
        asked_by=row["asked_by"],
        saw_machine=row["saw_machine"],
        note=names.maybe(row["note_ref"]),
        event=row["event"],
    )


def label_rows(connection: Connection) -> set[str]:
    """Return the hashes of label rows that came from files and were not undone."""
    query = select(label_table.c.row_hash).where(
        label_table.c.row_hash.is_not(None), label_table.c.undone.is_(False)
    )
    return {str(row) for row in connection.execute(query).scalars()}


def words(
    connection: Connection, *, deck: str | None = None, tag: str | None = None, photo: str | None = None
) -> dict[tuple[str, str], Word]:
    """Put the persons' latest words together: `present` and `absent` side by side are a dispute.

    A settlement ends a dispute until somebody says something else after it.
    """
    said: dict[tuple[str, str], list[Label]] = defaultdict(list)
    for one in labels(connection, deck=deck, tag=tag, photo=photo):
        said[one.photo, one.tag].append(one)
    settled = {
        (event.payload["photo"], event.payload["tag"]): event for event in statements(connection, "settled")
    }
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


# ---- the machine's words ------------------------------------------------------------------------------


def suggestions(
    connection: Connection,
    model: str,
    *,
    deck: str | None = None,
    tag: str | None = None,
    photo: str | None = None,
) -> dict[tuple[str, str], Suggestion]:
    """Return a model's suggestions by (photo, tag), of photos that are still placed."""
    table = suggestion_table
    here = and_(placing.c.key == table.c.photo, placing.c.current.is_(True))
    query = select(table).join(placing, here)
    if photo is None:  # with a photo its few rows are picked by hand: the model's index would be a long walk
        query = query.where(table.c.model == model)
    if deck is not None:
        query = query.where(placing.c.deck == deck)
    if tag is not None:
        query = query.where(table.c.tag == tag)
    if photo is not None:
        query = query.where(table.c.photo == photo)
    return {
        (row["photo"], row["tag"]): Suggestion(
            photo=row["photo"],
            tag=row["tag"],
            model=row["model"],
            score=row["score"],
            probability=row["probability"],
            pile=row["pile"],
            where=tuple(tuple(box) for box in row["places"]),
        )
        for row in connection.execute(query.order_by(table.c.photo, table.c.tag)).mappings()
        if row["model"] == model
    }


# ---- statements -----------------------------------------------------------------------------------------


def statements(connection: Connection, kind: str, deck: str | None = None) -> list[Event]:
    """Return the current statements of a kind, in order, with private texts put back.

    Each stands at the deck and visit to which it was carried since it was said.
    """
    query = (
        select(event_table, statement.c.payload.label("carried"))
        .join(statement, statement.c.event == event_table.c.hash)
        .where(statement.c.current.is_(True), statement.c.kind == kind)
        .order_by(statement.c.lamport, statement.c.log_id, statement.c.seq)
    )
    if deck is not None:
        query = query.where(statement.c.deck == deck)
    names = Names(connection)
    return [
        _open(from_row({key: row[key] for key in row if key != "carried"}, names), names, row["carried"])
        for row in connection.execute(query).mappings()
    ]


def _open(event: Event, names: Names, carried: Mapping[str, Any] | None = None) -> Event:
    payload = dict(event.payload)
    for field in ("deck", "visit"):
        if carried is not None and field in carried:
            payload[field] = carried[field]
    for field, ref in payload.pop("private", {}).items():
        payload[field] = names.maybe(ref)
    return Event(**{**event.__dict__, "payload": payload})


def _up_to(events: Iterable[Event], visit: str | None) -> list[Event]:
    if visit == _ANY:
        return list(events)
    return [event for event in events if (event.payload.get("visit") or "") <= (visit or "")]


def facts(connection: Connection, deck: str, visit: str | None = _ANY) -> dict[str, Fact]:
    """Return the latest value of each fact, by visit first and then by the order they were told."""
    found: dict[str, Fact] = {}
    rows = _up_to(statements(connection, "fact", deck), visit)
    rows.sort(key=lambda event: event.payload.get("visit") or "")
    for event in rows:
        payload = event.payload
        found[payload["key"]] = Fact(
            deck=deck,
            visit=payload.get("visit"),
            key=payload["key"],
            value=payload["value"],
            by=event.by,
            at=event.at,
            photos=tuple(payload.get("photos", ())),
        )
    return {key: fact for key, fact in sorted(found.items()) if fact.value is not None}


def findings(connection: Connection, deck: str) -> list[Finding]:
    """Return the findings on a deck, in order."""
    return [
        Finding(
            id=event.hash[:12],
            deck=deck,
            visit=event.payload.get("visit"),
            tier=event.payload["tier"],
            text=event.payload.get("text") or "(text deleted)",
            by=event.by,
            at=event.at,
            photos=tuple(event.payload.get("photos", ())),
            place=event.payload.get("place"),
            how=event.payload.get("how", "seen"),
        )
        for event in statements(connection, "finding", deck)
    ]


def person_tier(connection: Connection, deck: str, visit: str | None = _ANY) -> PersonTier | None:
    """Return the tier that a person set last, or null."""
    rows = _up_to(statements(connection, "tier", deck), visit)
    if not rows:
        return None
    event = rows[-1]
    payload = event.payload
    return PersonTier(
        deck, payload["tier"], payload.get("why") or "", event.by, event.at, payload.get("visit")
    )


def warnings(connection: Connection, deck: str) -> list[Warned]:
    """Return who was told of a stop-use, in order."""
    return [
        Warned(
            deck,
            event.payload.get("told") or "",
            event.payload.get("how") or "",
            event.payload["told_at"],
            event.by,
            event.at,
        )
        for event in statements(connection, "warned", deck)
    ]


def lifts(connection: Connection, deck: str) -> list[Lift]:
    """Return the liftings of a stop-use, in order."""
    return [
        Lift(deck, event.payload.get("why") or "", event.payload["after"], event.by, event.at)
        for event in statements(connection, "lifted", deck)
    ]


def closings(connection: Connection, deck: str) -> list[Closing]:
    """Return the closed concerns, in order."""
    return [
        Closing(
            deck=deck,
            rule=event.payload["rule"],
            place=event.payload.get("place"),
            before=event.payload["before"],
            after=event.payload["after"],
            why=event.payload.get("why") or "",
            by=event.by,
            at=event.at,
            visit=event.payload.get("visit"),
            same_place=bool(event.payload.get("same_place")),
        )
        for event in statements(connection, "closed", deck)
    ]


def deck_private(connection: Connection, deck: str) -> dict[str, str]:
    """Return the private fields of a deck."""
    found = {}
    for event in statements(connection, "deck-set", deck):
        if event.payload.get("text"):
            found[event.payload["field"]] = event.payload["text"]
    return found


# ---- acts ---------------------------------------------------------------------------------------------


def last_act(
    connection: Connection, by: str, kinds: Sequence[str], chains: Sequence[tuple[str, int | None]]
) -> str | None:
    """Return the last act of a person in some chains that can be undone and was not, or null.

    chains : (log, last number that counts, or null for all of it). What the same person said in another
    library, and a merge brought here, is taken back there.
    """
    refs = list(connection.execute(select(private_table.c.ref).where(private_table.c.text == by)).scalars())
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


def events_of_act(connection: Connection, act: str) -> list[Event]:
    """Return the events of one act, in order, with private texts put back."""
    query = select(event_table).where(event_table.c.act == act).order_by(event_table.c.seq)
    names = Names(connection)
    return [_open(from_row(row, names), names) for row in connection.execute(query).mappings()]


def label_log(connection: Connection, sha: str | None) -> list[dict[str, Any]]:
    """Return every label row ever given, undone ones too, with what each replaced."""
    query = select(label_table).order_by(label_table.c.lamport, label_table.c.log_id, label_table.c.seq)
    if sha is not None:
        query = query.where(label_table.c.photo == sha)
    names = Names(connection)
    before: dict[str, str] = {}
    found = []
    for row in connection.execute(query).mappings():
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
                "undone": row["undone"],
                "replaced": before.get(row["key"]),
                "event": one.event,
            }
        )
        if not row["undone"]:
            before[row["key"]] = one.value
    return found
