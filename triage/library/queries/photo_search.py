"""Finding the photo that a person names."""

from __future__ import annotations

import difflib
import re

from sqlalchemy import Connection, select

from triage.errors import BadInput
from triage.library.naming import distinct_names
from triage.library.queries.asking import query
from triage.library.queries.photo_queries import photos_by_sha
from triage.library.records import Photo
from triage.library.tables import photo as photo_table
from triage.library.tables import placing

_HASH = re.compile(r"[0-9a-f]{8,64}")
_DATED = re.compile(r"(?P<deck>.+?)/(?P<visit>\d{4}-\d{2}-\d{2})/(?P<name>.+)")


@query
def find_photo(connection: Connection, text: str) -> Photo:
    """Return the photo named by a hash prefix of 8 or more, `deck/name`, or a file name that is unique.

    Where several visits of a deck have a photo of one name, `deck/visit/name` says which is meant. Raises
    BadInput naming the candidates when there are several, or near names when there is none.
    """
    found = _candidates(connection, text)
    if len(found) == 1:
        return photos_by_sha(connection, found)[0]
    if found:
        photos = photos_by_sha(connection, found[:12])
        names = [name for _, name in sorted(distinct_names(photos).items(), key=lambda one: one[1])]
        more = f" and {len(found) - 12} more" if len(found) > 12 else ""
        raise BadInput(
            f"{text!r} names {len(found)} photos: {', '.join(names)}{more}.",
            "Name the one you mean as it is listed here, or by its hash.",
        )
    if _was_removed(connection, text):
        raise BadInput(f"{text!r} was removed from this library for good.", "Nothing can bring it back.")
    raise BadInput(f"There is no photo {text!r} in this library.", _near(connection, text))


@query
def photos_named(connection: Connection, text: str) -> list[Photo]:
    """Return every photo that `photo` would find by this name, the earliest visit first."""
    found = photos_by_sha(connection, _candidates(connection, text))
    return sorted(found, key=lambda one: (one.deck, one.visit or "", one.name))


@query
def name_of(connection: Connection, photo: Photo) -> str:
    """Return how a person names a photo so that it is found again: see `distinct_names`."""
    here = select(placing.c.sha).where(
        placing.c.current.is_(True), placing.c.deck == photo.deck, placing.c.name == photo.name
    )
    alike = photos_by_sha(connection, list(connection.execute(here).scalars()))
    return distinct_names(alike).get(photo.sha, photo.path_name)


def _was_removed(connection: Connection, text: str) -> bool:
    gone = select(photo_table.c.sha).where(photo_table.c.state == "forgotten").subquery()
    named = (placing.c.deck + "/" + placing.c.name == text) | (placing.c.sha == text.lower())
    return (
        connection.execute(select(placing.c.sha).join(gone, gone.c.sha == placing.c.sha).where(named)).first()
        is not None
    )


def _candidates(connection: Connection, text: str) -> list[str]:
    here = placing.c.current.is_(True)
    if "/" in text:
        query = (
            select(placing.c.sha)
            .where(here, placing.c.deck + "/" + placing.c.name == text)
            .order_by(placing.c.lamport.desc())
        )
        decks = {text[:cut] for cut in range(len(text)) if text[cut] == "/"}
        found = list(dict.fromkeys(connection.execute(query.where(placing.c.deck.in_(decks))).scalars()))
        found = found or _of_visit(connection, text)
        if found:
            return found
    found = list(connection.execute(select(placing.c.sha).where(here, placing.c.name == text)).scalars())
    if found:
        return found
    if "/" not in text:
        inside = placing.c.name.endswith("/" + text, autoescape=True)
        found = list(connection.execute(select(placing.c.sha).where(here, inside).limit(50)).scalars())
        if found:
            return found
    if _HASH.fullmatch(text.lower()):
        prefix = text.lower()
        query = select(photo_table.c.sha).where(
            photo_table.c.sha >= prefix, photo_table.c.sha < prefix + "g", photo_table.c.state == "here"
        )
        return list(connection.execute(query.limit(50)).scalars())
    return []


def _of_visit(connection: Connection, text: str) -> list[str]:
    """Return the photos named by `deck/visit/name`."""
    named = _DATED.fullmatch(text)
    if named is None:
        return []
    query = select(placing.c.sha).where(
        placing.c.current.is_(True),
        placing.c.deck == named["deck"],
        placing.c.visit == named["visit"],
        placing.c.name == named["name"],
    )
    return list(dict.fromkeys(connection.execute(query).scalars()))


def _near(connection: Connection, text: str) -> str:
    names = connection.execute(
        select(placing.c.deck + "/" + placing.c.name).where(placing.c.current.is_(True)).limit(5000)
    ).scalars()
    near = difflib.get_close_matches(text, list(names), n=3)
    return f"Did you mean {' or '.join(near)}?" if near else "List the photos with: deck-triage photos"
