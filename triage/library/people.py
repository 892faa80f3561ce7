"""Who is one person: spellings of a name that somebody said belong together, and those not asked about yet.

A name is a claim and is recorded as it was given. That "Ann" and "ANN" are one person, or two, is said once,
as an event of its own, which `undo` takes back like any other; nothing is renamed in the log. Reading maps
every spelling of a person to one name, so that figures, disputes and audits count one person.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from sqlalchemy import Connection, func, select

from triage.errors import BadInput
from triage.library.tables import event, private

if TYPE_CHECKING:
    from triage.library.library import Library

SAME_PERSON = "same-person"
"""Event: two spellings are one person's, or (with `same` false) two people's."""


def alike(name: str) -> str:
    """Return what is left of a name without case, spare spaces and ways of encoding."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


class People:
    """What was said about which spellings belong together, at one moment of the log."""

    def __init__(self, connection: Connection) -> None:
        self._first: dict[str, str] = {}
        self._apart: set[frozenset[str]] = set()
        for one, other, same in _said(connection):
            first, second = self.name(one), self.name(other)
            if not same:
                self._apart.add(frozenset((one, other)))
            elif first != second:
                self._first[second] = first

    def name(self, spelling: str) -> str:
        """Return the one name of the person who is known by a spelling."""
        while spelling in self._first:
            spelling = self._first[spelling]
        return spelling

    def spellings(self, name: str) -> list[str]:
        """Return every spelling of a person's name."""
        first = self.name(name)
        return sorted({first, name, *(one for one in self._first if self.name(one) == first)})

    def is_decided(self, one: str, other: str) -> bool:
        """Say whether it is known that two spellings are one person's, or two people's."""
        if self.name(one) == self.name(other):
            return True
        return any(
            frozenset((first, second)) in self._apart
            for first in self.spellings(one)
            for second in self.spellings(other)
        )


def _said(connection: Connection) -> list[tuple[str, str, bool]]:
    """Return (spelling, other spelling, whether one person) of every such event that stands, in order."""
    query = (
        select(event.c.payload, event.c.act, event.c.by_ref)
        .where(event.c.kind == SAME_PERSON)
        .order_by(event.c.lamport, event.c.log_id, event.c.seq)
    )
    rows = connection.execute(query).all()
    if not rows:
        return []
    gone = _taken_back(connection, {row.act: row.by_ref for row in rows})
    found = []
    for row in rows:
        if row.act in gone:
            continue
        payload = json.loads(row.payload)
        refs = payload["private"]
        texts = _texts(connection, [refs["name"], refs["other"]])
        found.append((texts[refs["name"]], texts[refs["other"]], bool(payload["same"])))
    return found


def _taken_back(connection: Connection, speaker: dict[str, str]) -> set[str]:
    """Return the acts that their speaker, or anybody with a reason on record, took back."""
    gone = set()
    undone = select(event.c.payload, event.c.by_ref).where(event.c.kind == "undone")
    for row in connection.execute(undone):
        payload = json.loads(row.payload)
        act = payload.get("act")
        if act not in speaker:
            continue
        texts = _texts(connection, [row.by_ref, speaker[act]])
        if payload.get("private", {}).get("why") or texts[row.by_ref] == texts[speaker[act]]:
            gone.add(act)
    return gone


def _texts(connection: Connection, refs: Sequence[str]) -> dict[str, str]:
    """Return the texts of references; one that was deleted reads as a pseudonym."""
    found = {ref: pseudonym(ref) for ref in refs}
    for row in connection.execute(select(private.c.ref, private.c.text).where(private.c.ref.in_(refs))):
        if row.text is not None:
            found[row.ref] = str(row.text)
    return found


def pseudonym(ref: str) -> str:
    """Return how a person is called where names are not shown: the start of the reference."""
    return f"person-{ref[:8]}"


def references(connection: Connection, name: str) -> list[str]:
    """Return every reference under which a person stands: spellings, and one per library merged here."""
    spellings = People(connection).spellings(name)
    found = connection.execute(select(private.c.ref).where(private.c.text.in_(spellings))).scalars()
    return sorted(map(str, found))


def one_reference(connection: Connection, names: Iterable[str]) -> dict[str, str]:
    """Return one reference for each name, the same for all spellings of a person, where one is known."""
    people = People(connection)
    first = {name: people.name(name) for name in names}
    query = (
        select(private.c.text, func.min(private.c.ref))
        .where(private.c.text.in_(sorted(set(first.values()))))
        .group_by(private.c.text)
    )
    refs = {str(text): str(ref) for text, ref in connection.execute(query)}
    return {name: refs[one] for name, one in first.items() if one in refs}


def pseudonyms(connection: Connection, names: Iterable[str]) -> dict[str, str]:
    """Return a pseudonym for each name; a name that was deleted reads as one already."""
    asked = sorted(set(names))
    refs = one_reference(connection, asked)
    return {name: pseudonym(refs[name]) if name in refs else name for name in asked}


def speakers(connection: Connection) -> list[str]:
    """Return every name under which something was said here, by a walk along one index."""
    walk = select(func.min(event.c.by_ref).label("ref")).cte("walk", recursive=True)
    after = select(func.min(event.c.by_ref)).where(event.c.by_ref > walk.c.ref).scalar_subquery()
    walk = walk.union_all(select(after).where(walk.c.ref.is_not(None)))
    query = select(private.c.text).join(walk, walk.c.ref == private.c.ref).where(private.c.text.is_not(None))
    return sorted(set(map(str, connection.execute(query).scalars())))


def resembling(connection: Connection, name: str) -> list[str]:
    """Return the known names that differ from a new one in spelling only, where nobody was asked yet."""
    known = speakers(connection)
    like = [one for one in known if one != name and alike(one) == alike(name)]
    if not like:
        return []
    people = People(connection)
    return sorted({people.name(one) for one in like if not people.is_decided(name, one)})


def open_questions(connection: Connection) -> list[tuple[str, str]]:
    """Return pairs of names that may be one person's and that nobody was asked about."""
    groups: dict[str, list[str]] = {}
    for name in speakers(connection):
        groups.setdefault(alike(name), []).append(name)
    several = [names for names in groups.values() if len(names) > 1]
    if not several:
        return []
    people = People(connection)
    return [
        pair for names in several for pair in combinations(sorted(names), 2) if not people.is_decided(*pair)
    ]


def decide(library: Library, name: str, other: str, *, same: bool, by: str) -> None:
    """Record that `other` is one more spelling of `name`, or (with `same` false) another person.

    Raises BadInput where nobody has spoken under `name`, or both are written alike.
    """
    if name == other:
        raise BadInput(f"{name!r} is written the same twice.", "Name the two spellings.")
    with library.read() as connection:
        if name not in speakers(connection):
            raise BadInput(f"Nobody has spoken as {name!r} here.", "See: deck-triage people")
    library.say(SAME_PERSON, {"same": same}, by=by, private={"name": name, "other": other})
