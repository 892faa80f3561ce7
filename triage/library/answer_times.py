"""When each photo was answered for a tag, in which order it was asked, and when it came into the library."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, select

from triage.batching import lots
from triage.library.latest import said_at
from triage.library.log import Names
from triage.library.people import alike
from triage.library.tables import event, label, placing

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


def answer_times(library: Library, tags: Collection[str]) -> dict[str, list[AnswerTime]]:
    """Return every label row of some tags, by tag."""
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
    with library.read() as connection:
        for photo, tag, asked_by, saw_machine, row_hash, undone, at, recorded_at in connection.execute(query):
            from_file = row_hash is not None
            stated = said_at(at, recorded_at, from_file=from_file)
            known = not from_file or stated is not None
            found[tag].append(
                AnswerTime(photo, asked_by, saw_machine, stated or recorded_at, from_file, known, undone)
            )
    return found


def arrivals(library: Library) -> dict[str, str]:
    """Return when each photo was first placed."""
    query = (
        select(placing.c.sha, func.min(event.c.recorded_at).label("first"))
        .join(event, and_(event.c.log_id == placing.c.log_id, event.c.seq == placing.c.seq))
        .group_by(placing.c.sha)
    )
    with library.read() as connection:
        return {row.sha: row.first for row in connection.execute(query)}


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
