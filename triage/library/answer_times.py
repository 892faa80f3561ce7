"""When each photo was answered for a tag, in which order it was asked, and when it came into the library."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, or_, select

from triage.batching import lots
from triage.library.latest import said_at
from triage.library.log import Names
from triage.library.people import alike
from triage.library.records import MACHINE_ORDERS, UNSORTED
from triage.library.tables import event, label, placing
from triage.library.tables import photo as photo_table

if TYPE_CHECKING:
    from collections.abc import Collection

    from triage.library.library import Library

_LOT = 400


@dataclass(frozen=True)
class AnswerTime:
    """One label row, undone ones too.

    Attributes
    ----------
    photo, asked_by, saw_machine : as of the label.
    at : when it was said, in UTC: by the log for words given here, by the file for words from a file.
    from_file : whether it was read from a file.
    at_known : false for a word from a file that states no time with a zone.
    undone : whether it was taken back.
    """

    photo: str
    asked_by: str
    saw_machine: bool
    at: str
    from_file: bool
    at_known: bool
    undone: bool


def answer_times(
    library: Library, tags: Collection[str], photos: Collection[str] | None = None
) -> dict[str, list[AnswerTime]]:
    """Return every label row of some tags, by tag; of some photos or of all."""
    query = (
        select(
            label.c.photo,
            label.c.tag,
            label.c.asked_by,
            label.c.saw_machine,
            label.c.row_hash,
            label.c.undone,
            event.c.at,
            event.c.recorded_at,
        )
        .join(event, and_(event.c.log_id == label.c.log_id, event.c.seq == label.c.seq))
        .where(label.c.tag.in_(sorted(tags)))
    )
    found: dict[str, list[AnswerTime]] = defaultdict(list)
    wanted = [query] if photos is None else [query.where(label.c.photo.in_(lot)) for lot in _in_lots(photos)]
    with library.read() as connection:
        rows = chain.from_iterable(connection.execute(one) for one in wanted)
        for photo, tag, asked_by, saw_machine, row_hash, undone, at, recorded_at in rows:
            from_file = row_hash is not None
            when, known = _when(at, recorded_at, from_file)
            found[tag].append(AnswerTime(photo, asked_by, saw_machine, when, from_file, known, undone))
    return found


def _when(at: str, recorded_at: str, from_file: bool) -> tuple[str, bool]:
    stated = said_at(at, recorded_at, from_file=from_file)
    return stated or recorded_at, not from_file or stated is not None


def _in_lots(photos: Collection[str]) -> list[list[str]]:
    return list(lots(sorted(photos), _LOT))


@dataclass(frozen=True)
class MachineTime:
    """When answers of a machine's order were given, whichever photos they are on; as of `AnswerTime`."""

    asked_by: str
    at: str
    from_file: bool
    at_known: bool


def machine_times(library: Library, tags: Collection[str]) -> dict[str, set[MachineTime]]:
    """Return when a machine's order was answered, or an answer given with its word in view, by tag.

    Of photos that are at a deck now; undone answers too.
    """
    from_file = label.c.row_hash.is_not(None).label("from_file")
    query = (
        select(label.c.tag, label.c.asked_by, from_file, event.c.at, event.c.recorded_at)
        .join(event, and_(event.c.log_id == label.c.log_id, event.c.seq == label.c.seq))
        .join(placing, and_(placing.c.key == label.c.photo, placing.c.current.is_(True)))
        .join(photo_table, and_(photo_table.c.sha == label.c.photo, photo_table.c.state == "here"))
        .where(label.c.tag.in_(sorted(tags)), placing.c.deck != UNSORTED)
        .where(or_(label.c.asked_by.in_(MACHINE_ORDERS), label.c.saw_machine.is_(True)))
        .distinct()
    )
    found: dict[str, set[MachineTime]] = defaultdict(set)
    with library.read() as connection:
        for tag, asked_by, foreign, at, recorded_at in connection.execute(query):
            when, known = _when(at, recorded_at, bool(foreign))
            found[tag].add(MachineTime(asked_by, when, bool(foreign), known))
    return found


def arrivals(library: Library, photos: Collection[str] | None = None) -> dict[str, str]:
    """Return when each photo was first placed, of some photos or of all."""
    query = (
        select(placing.c.sha, func.min(event.c.recorded_at).label("first"))
        .join(event, and_(event.c.log_id == placing.c.log_id, event.c.seq == placing.c.seq))
        .group_by(placing.c.sha)
    )
    wanted = [query] if photos is None else [query.where(placing.c.sha.in_(lot)) for lot in _in_lots(photos)]
    with library.read() as connection:
        return {sha: first for one in wanted for sha, first in connection.execute(one)}


def photos_then(library: Library, decks: Collection[str], lamport: int) -> dict[str, set[str]]:
    """Return the photos of some decks as they were at a moment of the log, by deck.

    A placing that was taken back may have stood at that moment or not: its photo is in both decks.
    """
    before = placing.c.lamport <= lamport
    found: dict[str, set[str]] = {deck: set() for deck in decks}
    with library.read() as connection:
        ever = select(placing.c.sha).where(placing.c.deck.in_(sorted(found)), before).distinct()
        shas = connection.execute(ever).scalars().all()
        for lot in lots(shas, _LOT):
            query = select(placing.c.sha, placing.c.deck, placing.c.undone).where(
                placing.c.sha.in_(lot), before
            )
            ordered = query.order_by(placing.c.lamport, placing.c.log_id, placing.c.seq)
            last: dict[tuple[str, bool], str] = {}
            for row in connection.execute(ordered):
                last[row.sha, True] = row.deck
                if not row.undone:
                    last[row.sha, False] = row.deck
            for (sha, _), deck in last.items():
                if deck in found:
                    found[deck].add(sha)
    return found


def answered_blind(library: Library, tag: str, decks: Collection[str]) -> set[str]:
    """Return the photos at some decks that somebody answered for a tag without the machine's word in view."""
    query = (
        select(label.c.photo)
        .join(placing, and_(placing.c.key == label.c.photo, placing.c.current.is_(True)))
        .where(label.c.tag == tag, label.c.current.is_(True), label.c.saw_machine.is_(False))
        .where(placing.c.deck.in_(sorted(decks)))
    )
    with library.read() as connection:
        return set(map(str, connection.execute(query).scalars()))


def placed_since(library: Library, lamport: int) -> bool:
    """Say whether a photo was placed or moved after a moment of the log."""
    query = select(placing.c.sha).where(placing.c.lamport > lamport).limit(1)
    with library.read() as connection:
        return connection.execute(query).first() is not None


@dataclass(frozen=True)
class SpokenRow:
    """One label row on a tag: who said what of which photo, and its moment in the log; undone ones too.

    Attributes
    ----------
    by : the person; spellings of a name that may be one person's are one person here.
    at : when it was said, in UTC; null for a word from a file that does not say when.
    """

    photo: str
    value: str
    by: str
    lamport: int
    at: str | None
    asked_by: str
    saw_machine: bool
    current: bool


def spoken_rows(library: Library, tag: str) -> list[SpokenRow]:
    """Return every label row of a tag, in the order of the log."""
    query = (
        select(label, event.c.at, event.c.recorded_at)
        .join(event, and_(event.c.log_id == label.c.log_id, event.c.seq == label.c.seq))
        .where(label.c.tag == tag)
        .order_by(label.c.lamport, label.c.log_id, label.c.seq)
    )
    with library.read() as connection:
        names = Names(connection)
        return [
            SpokenRow(
                row.photo,
                row.value,
                alike(names.get(row.by_ref)),
                row.lamport,
                said_at(row.at, row.recorded_at, from_file=row.row_hash is not None),
                row.asked_by,
                row.saw_machine,
                row.current,
            )
            for row in connection.execute(query)
        ]
