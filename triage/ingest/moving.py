"""Moving photos that are at the wrong deck, and removing photos for good."""

from __future__ import annotations

from collections.abc import Sequence

from triage.domain.plurals import count_of
from triage.errors import BadInput, NotWritten
from triage.ingest.collect import clean_name
from triage.library import EventDraft, Library, queries
from triage.library.database import Connection
from triage.library.records import Photo


def run_by_time(library: Library, first: Photo, last: Photo) -> list[Photo]:
    """Return the photos of one deck from one photo to another, by the camera's time.

    Raises BadInput when the two are at different decks, or a time is missing or in the wrong order.
    """
    if first.deck != last.deck:
        raise BadInput(
            f"{first.path_name} and {last.path_name} are at different decks.",
            "Name two photos of one deck.",
        )
    if not first.taken_at or not last.taken_at:
        missing = first if not first.taken_at else last
        raise BadInput(f"{missing.path_name} has no camera time.", "Name the photos one by one instead.")
    if first.taken_at > last.taken_at:
        raise BadInput(
            f"{first.path_name} was taken after {last.path_name}.", "Give the earlier photo first."
        )
    return [
        photo
        for photo in queries.photos(library, first.deck)
        if photo.taken_at and first.taken_at <= photo.taken_at <= last.taken_at
    ]


def move(
    library: Library,
    photos: Sequence[Photo],
    deck: str,
    *,
    by: str,
    visit: str | None = None,
    why: str | None = None,
    dry_run: bool = False,
) -> list[Photo]:
    """Place photos at another deck (and visit, where given), as one act; `undo` puts them back.

    Raises BadInput, with nothing moved, when a name is taken there by another photo.
    """
    deck = clean_name(deck)
    if dry_run:
        with library.read() as connection:
            _moves(connection, photos, deck, by, visit, why)
    else:
        library.say_after(lambda connection: _moves(connection, photos, deck, by, visit, why))
    return list(photos)


def _moves(
    connection: Connection, photos: Sequence[Photo], deck: str, by: str, visit: str | None, why: str | None
) -> list[EventDraft]:
    there = {(one.visit, one.name): one.sha for one in queries.photos(connection, deck)}
    said = []
    for photo in photos:
        to_visit = visit or photo.visit
        if there.get((to_visit, photo.name), photo.sha) != photo.sha:
            raise BadInput(
                f"Deck {deck} has another photo named {photo.name} at that visit; nothing was moved.",
                "Move to another deck, or give --visit DATE.",
            )
        there[to_visit, photo.name] = photo.sha
        payload = {"sha": photo.sha, "deck": deck, "visit": to_visit, "name": photo.name, "from": photo.deck}
        said.append(EventDraft("moved", payload | ({"why": why} if why else {}), by))
    return said


def forget(library: Library, photos: Sequence[Photo], *, by: str, dry_run: bool = False) -> list[Photo]:
    """Remove photos for good; a tombstone stays.

    Raises BadInput, with nothing removed, while an issued report uses one of them, and NotWritten where the
    removal is recorded but something could not be deleted yet; every later command tries again.
    """
    if dry_run:
        with library.read() as connection:
            _removals(connection, photos, by)
        return list(photos)
    library.say_after(lambda connection: _removals(connection, photos, by))
    library.finish_removals()
    if library.not_removed:
        raise NotWritten(
            f"{count_of(len(photos), 'photo is', 'photos are')} marked as removed, but not"
            f" everything could be deleted yet: {library.not_removed}.",
            "Fix that; every later command on this library tries again, for example: deck-triage status",
        )
    return list(photos)


def _removals(connection: Connection, photos: Sequence[Photo], by: str) -> list[EventDraft]:
    issued: dict[str, str] = {}
    for event in queries.statements(connection, "issued"):
        for sha in event.payload.get("photos", ()):
            issued[sha] = str(event.payload.get("number", "?"))
    for photo in photos:
        if photo.sha in issued:
            raise BadInput(
                f"{photo.path_name} is used by the issued report {issued[photo.sha]}; nothing was removed.",
                "What was issued stays reproducible: a photo in an issued report cannot be removed.",
            )
    return [EventDraft("forgotten", {"sha": photo.sha}, by) for photo in photos]
