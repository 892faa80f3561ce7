"""Finding the photo that a person names."""

from __future__ import annotations

import difflib
import re

from sqlalchemy import Connection, select

from triage.errors import BadInput
from triage.library.queries.asking import query
from triage.library.queries.photo_queries import photos_by_sha
from triage.library.records import Photo
from triage.library.tables import photo as photo_table
from triage.library.tables import placing

_HASH = re.compile(r"[0-9a-f]{8,64}")


@query
def find_photo(connection: Connection, text: str) -> Photo:
    """Return the photo named by a hash prefix of 8 or more, `deck/name`, or a file name that is unique.

    Raises BadInput naming the candidates when there are several, or near names when there is none.
    """
    found = _candidates(connection, text)
    if len(found) == 1:
        return photos_by_sha(connection, found)[0]
    if found:
        names = sorted(one.path_name for one in photos_by_sha(connection, found[:12]))
        more = f" and {len(found) - 12} more" if len(found) > 12 else ""
        raise BadInput(
            f"{text!r} names {len(found)} photos: {', '.join(names)}{more}.",
            "Name the one you mean as deck/name or by its hash.",
        )
    if _was_removed(connection, text):
        raise BadInput(f"{text!r} was removed from this library for good.", "Nothing can bring it back.")
    raise BadInput(f"There is no photo {text!r} in this library.", _near(connection, text))


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


def _near(connection: Connection, text: str) -> str:
    names = connection.execute(
        select(placing.c.deck + "/" + placing.c.name).where(placing.c.current.is_(True)).limit(5000)
    ).scalars()
    near = difflib.get_close_matches(text, list(names), n=3)
    return f"Did you mean {' or '.join(near)}?" if near else "List the photos with: deck-triage photos"
