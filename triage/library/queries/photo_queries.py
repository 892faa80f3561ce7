"""Photos at their places."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Select, and_, func, select

from triage.batching import lots
from triage.errors import BadInput
from triage.library.bursts import number_bursts
from triage.library.log import Names
from triage.library.queries.asking import ANY_VISIT, query
from triage.library.records import Photo
from triage.library.tables import photo as photo_table
from triage.library.tables import placing

_CHUNK = 500


def _photo_query() -> Select[Any]:
    return (
        select(photo_table, placing.c.deck, placing.c.visit, placing.c.name)
        .join(placing, and_(placing.c.key == photo_table.c.sha, placing.c.current.is_(True)))
        .where(photo_table.c.state == "here")
    )


@query
def photos(connection: Connection, deck: str | None = None, visit: str | None = ANY_VISIT) -> list[Photo]:
    """Return placed photos by deck, visit, time and name, with their burst numbers."""
    query = _photo_query()
    if deck is not None:
        query = query.where(placing.c.deck == deck)
    if visit != ANY_VISIT:
        query = query.where(placing.c.visit == visit)
    return _photos(connection, query)


@query
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


@query
def reasons(connection: Connection, deck: str) -> dict[str, str]:
    """Return why photos were placed at a deck, where a reason was kept."""
    query = select(placing.c.key, placing.c.why).where(
        placing.c.deck == deck, placing.c.current.is_(True), placing.c.why.is_not(None)
    )
    return {row.key: row.why for row in connection.execute(query)}


@query
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


@query
def private_exif(connection: Connection, sha: str) -> dict[str, Any]:
    """Return the position and serials of a photo, or nothing where they were deleted."""
    ref = connection.execute(select(photo_table.c.exif_ref).where(photo_table.c.sha == sha)).scalar()
    text = Names(connection).maybe(ref)
    return dict(json.loads(text)) if text else {}


@query
def photo_count(connection: Connection) -> int:
    """Return how many photos the library holds."""
    here = select(func.count()).select_from(photo_table).where(photo_table.c.state == "here")
    return int(connection.execute(here).scalar_one())


@query
def photo_names(connection: Connection, shas: Collection[str]) -> dict[str, str]:
    """Return the names of some photos by hash; those that are not here are left out."""
    return {photo.sha: photo.name for photo in photos_by_sha(connection, sorted(shas))}


@query
def shas(connection: Connection) -> set[str]:
    """Return the hashes of all photos, forgotten ones too."""
    return set(connection.execute(select(photo_table.c.sha)).scalars())


@query
def original_suffix(connection: Connection, sha: str) -> str:
    """Return the ending of an original's file name. Raises BadInput for a photo that is not here."""
    suffix = connection.execute(select(photo_table.c.suffix).where(photo_table.c.sha == sha)).scalar()
    if suffix is None:
        raise BadInput(f"There is no photo {sha[:12]} in this library.")
    return str(suffix)
