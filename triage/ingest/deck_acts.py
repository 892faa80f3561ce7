"""Putting decks right as a whole: split, join, rename, and the day of a visit; each is one act in the log.

Labels go with their photos; facts, findings, tiers and warnings go with the deck's name. An issued report
stays as it was. `undo` takes a whole act back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from triage.errors import BadInput
from triage.ingest.collect import clean_name
from triage.ingest.known import sightings_of
from triage.ingest.sightings import Sighting
from triage.ingest.walk import sort_by_walk
from triage.ingest.walk_model import FLAT_FOLDER
from triage.library import EventDraft, Library, queries
from triage.library.database import Connection
from triage.library.records import UNSORTED, Photo


@dataclass(frozen=True)
class DeckAct:
    """What an act did: photos that moved, from which deck to which, how many statements went along."""

    photos: tuple[str, ...]
    decks: tuple[str, ...]
    statements: int = 0

    def to_json(self) -> dict[str, Any]:
        """Return it in the shape that scripts rely on."""
        return {"photos": list(self.photos), "decks": list(self.decks), "statements": self.statements}


def rename(library: Library, old: str, new: str, *, by: str, dry_run: bool = False) -> DeckAct:
    """Give a deck another name. Raises BadInput when it is not known or the new name is taken."""
    new = _new_name(new)

    def decide(connection: Connection) -> tuple[list[EventDraft], DeckAct]:
        _known(connection, old)
        if queries.is_deck(connection, new):
            raise BadInput(
                f"Deck {new} already exists; nothing was renamed.",
                f"To make one deck of both: deck-triage decks join {new} {old}",
            )
        return _carried(connection, old, new, by, "renamed")

    return _do(library, decide, dry_run=dry_run)


def join(library: Library, deck: str, other: str, *, by: str, dry_run: bool = False) -> DeckAct:
    """Make one deck of two, under the first one's name.

    Raises BadInput, with nothing joined, where the two are one, are not known, or where facts or a person's
    tier of one visit differ: joining would let one of them disappear.
    """

    def decide(connection: Connection) -> tuple[list[EventDraft], DeckAct]:
        for one in (deck, other):
            _known(connection, one)
        if deck == other:
            raise BadInput(f"{deck} is already one deck.", "Name two decks.")
        _agree(connection, deck, other)
        return _carried(connection, other, deck, by, "joined")

    return _do(library, decide, dry_run=dry_run)


def split_at(
    library: Library, deck: str, first: Photo, new: str, *, by: str, dry_run: bool = False
) -> DeckAct:
    """Split a deck in two by time: `first` and all later photos of that visit become another deck.

    Raises BadInput when the photo is not the deck's, has no time, or nothing would stay.
    """
    if first.deck != deck:
        raise BadInput(f"{first.path_name} is not a photo of deck {deck}.", "Name one of its photos.")
    if not first.taken_at:
        raise BadInput(f"{first.path_name} has no camera time.", "Name the photos with --photo instead.")
    photos = [
        one
        for one in queries.photos(library, deck)
        if one.visit == first.visit
        and one.taken_at
        and (one.taken_at, one.name) >= (first.taken_at, first.name)
    ]
    return split_off(library, deck, photos, new, by=by, dry_run=dry_run)


def split_off(
    library: Library, deck: str, photos: Sequence[Photo], new: str, *, by: str, dry_run: bool = False
) -> DeckAct:
    """Make another deck of some of a deck's photos; facts and findings that rest on these alone go along."""
    new = _new_name(new)

    def decide(connection: Connection) -> tuple[list[EventDraft], DeckAct]:
        _known(connection, deck)
        if queries.is_deck(connection, new):
            raise BadInput(f"Deck {new} already exists; nothing was split.", "Name one that is not here.")
        return _split(connection, deck, {new: photos}, by)

    return _do(library, decide, dry_run=dry_run)


def split_by_walk(library: Library, deck: str, *, by: str, dry_run: bool = False) -> DeckAct:
    """Split a deck where time and place say that it is several; the largest part keeps the name.

    Raises BadInput when they say nothing of the kind.
    """

    def decide(connection: Connection) -> tuple[list[EventDraft], DeckAct]:
        _known(connection, deck)
        photos = {one.sha: one for one in queries.photos(connection, deck)}
        seen = [_free(one) for one in sightings_of(connection, photos)]
        found = sort_by_walk(seen, trust=FLAT_FOLDER, base=deck, taken=queries.decks(connection))
        parts: dict[str, list[Photo]] = {}
        for sha, name in found.decks.items():
            if name != deck:
                parts.setdefault(name, []).append(photos[sha])
        for number, doubt in enumerate(found.doubts):
            name = (
                doubt.proposal if doubt.proposal and doubt.proposal != deck else f"{deck}-part-{number + 2}"
            )
            parts.setdefault(name, []).extend(photos[sha] for sha in doubt.keys)
        if not parts:
            raise BadInput(
                f"Time and place do not separate deck {deck}.",
                f"Say where: deck-triage decks split {deck} --at PHOTO --to NAME",
            )
        return _split(connection, deck, parts, by)

    return _do(library, decide, dry_run=dry_run)


def _free(photo: Sighting) -> Sighting:
    from dataclasses import replace

    return replace(photo, deck=None)


def set_visit(
    library: Library, deck: str, day: str, *, before: str | None, by: str, dry_run: bool = False
) -> DeckAct:
    """Set the day of a deck's photos, facts and findings at the visit `before`, or without a visit.

    Raises BadInput when the deck has nothing of that visit.
    """

    def decide(connection: Connection) -> tuple[list[EventDraft], DeckAct]:
        _known(connection, deck)
        photos = queries.photos(connection, deck, before)
        told = [event for event in _statements(connection, deck) if event.payload.get("visit") == before]
        if not photos and not told:
            which = f"of {before}" if before else "without a visit"
            raise BadInput(
                f"Deck {deck} has nothing {which}.", "See its visits with: deck-triage photos --deck D"
            )
        said = moves(connection, photos, deck, by, visit=day)
        change = {
            "deck": deck,
            "from": deck,
            "to": deck,
            "how": "visit",
            "visit_from": before,
            "visit_to": day,
        }
        said.append(EventDraft("deck-changed", change, by))
        return said, DeckAct(tuple(one.sha for one in photos), (deck,), len(told))

    return _do(library, decide, dry_run=dry_run)


# ---- how ---------------------------------------------------------------------------------------------------

Decide = Callable[[Connection], tuple[list[EventDraft], DeckAct]]


def _do(library: Library, decide: Decide, *, dry_run: bool) -> DeckAct:
    done: list[DeckAct] = []

    def said(connection: Connection) -> list[EventDraft]:
        drafts, act = decide(connection)
        done.append(act)
        return drafts

    if dry_run:
        with library.read() as connection:
            said(connection)
    else:
        library.say_after(said)
    return done[-1]


def _new_name(text: str) -> str:
    name = clean_name(text)
    if name in ("unnamed", UNSORTED):
        raise BadInput(f"{text!r} cannot be a deck's name.", "Give it a short code, e.g. D-17.")
    return name


def _known(connection: Connection, deck: str) -> None:
    if not queries.is_deck(connection, deck):
        raise BadInput(
            f"There is no deck {deck!r} in this library.", "List the decks with: deck-triage decks"
        )


_OF_DECK = ("fact", "finding", "tier", "warned", "lifted", "closed", "deck-set", "repair-done")


def _statements(connection: Connection, deck: str) -> list[Any]:
    return [event for kind in _OF_DECK for event in queries.statements(connection, kind, deck)]


def _carried(
    connection: Connection, old: str, new: str, by: str, how: str
) -> tuple[list[EventDraft], DeckAct]:
    photos = queries.photos(connection, old)
    said = moves(connection, photos, new, by)
    change: dict[str, Any] = {"deck": new, "from": old, "to": new, "how": how}
    told = _statements(connection, old)
    if how == "joined":  # the first deck's address and client stay
        have = set(queries.deck_private(connection, new))
        told = [one for one in told if not (one.kind == "deck-set" and one.payload["field"] in have)]
        change["events"] = sorted(one.hash for one in told)
    said.append(EventDraft("deck-changed", change, by))
    return said, DeckAct(tuple(one.sha for one in photos), (old, new), len(told))


def _split(
    connection: Connection, deck: str, parts: dict[str, Sequence[Photo]] | dict[str, list[Photo]], by: str
) -> tuple[list[EventDraft], DeckAct]:
    gone = [photo for some in parts.values() for photo in some]
    if not gone:
        raise BadInput("No photo would move; nothing was split.", "Name photos of the deck.")
    if len(gone) >= len(queries.photos(connection, deck)):
        raise BadInput(f"No photo would stay at deck {deck}; nothing was split.", "Use decks rename instead.")
    said: list[EventDraft] = []
    count = 0
    for new, photos in parts.items():
        said += moves(connection, photos, new, by)
        shas = {one.sha for one in photos}
        along = [
            one.hash
            for one in _statements(connection, deck)
            if one.payload.get("photos") and set(one.payload["photos"]) <= shas
        ]
        count += len(along)
        change = {"deck": new, "from": deck, "to": new, "how": "split", "events": sorted(along)}
        said.append(EventDraft("deck-changed", change, by))
    return said, DeckAct(tuple(one.sha for one in gone), (deck, *parts), count)


def moves(
    connection: Connection, photos: Sequence[Photo], deck: str, by: str, visit: str | None = None
) -> list[EventDraft]:
    """Return the moves of photos to a deck; a name that is taken there gets the photo's hash added."""
    taken = {(one.visit, one.name): one.sha for one in queries.photos(connection, deck)}
    said = []
    for photo in photos:
        to_visit, name = visit or photo.visit, photo.name
        if taken.get((to_visit, name), photo.sha) != photo.sha:
            stem, dot, suffix = name.rpartition(".")
            name = f"{stem}-{photo.sha[:6]}{dot}{suffix}"
        taken[to_visit, name] = photo.sha
        payload = {"sha": photo.sha, "deck": deck, "visit": to_visit, "name": name, "from": photo.deck}
        said.append(EventDraft("moved", payload, by))
    return said


def _agree(connection: Connection, deck: str, other: str) -> None:
    """Check that what was said about two decks does not differ. Raises BadInput."""

    def of(name: str, kind: str) -> dict[tuple[Any, ...], Any]:
        return {
            (one.payload.get("visit"), one.payload.get("key", "tier")): one.payload.get(
                "value", one.payload.get("tier")
            )
            for one in queries.statements(connection, kind, name)
        }

    for kind in ("fact", "tier"):
        first, second = of(deck, kind), of(other, kind)
        for (visit, key), value in first.items():
            if (visit, key) in second and second[visit, key] != value:
                raise BadInput(
                    f"{deck} and {other} disagree: {key} is {value} at one and {second[visit, key]} at the "
                    f"other; nothing was joined.",
                    "Set the right value at both decks first.",
                )
