"""Removing photos for good, so that a break at any moment leaves nothing behind.

The event that removes a photo also leaves a mark in `meta`, in the same transaction. Whatever bears a mark
is deleted at once, and again at every opening and before every write until all of it is gone: the original,
every cached picture and vector, the private texts of the photo (position, serial numbers, the notes and
places of its labels), suggestions and kept assessments, and what the database file and its write-ahead log
still hold of them. Only then the mark goes. A tombstone stays: the photo's hash and where it was.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, delete, insert, select, update

from triage.batching import lots
from triage.errors import NotWritten
from triage.library import listeners
from triage.library.database import compact, reading, writing
from triage.library.store import sha256_of
from triage.library.tables import event, meta, private, statement, suggestion
from triage.library.tables import photo as photo_table
from triage.platforms import remove_file, sync_folder

if TYPE_CHECKING:
    from triage.library.library import Library

_MARK = "remove:"
_FRESH, _WIPED = "marked", "wiped"
"""How far a removal has come: nothing is certain yet, or the rows are gone but the file is not compacted."""
_LOT = 400


def mark(connection: Connection, shas: Iterable[str]) -> None:
    """Mark photos for deletion in the transaction that records their removal; marks that are there stay."""
    there = _marks(connection)
    rows = [{"key": _MARK + sha, "value": _FRESH} for sha in dict.fromkeys(shas) if sha not in there]
    for lot in lots(rows, _LOT):
        connection.execute(insert(meta), lot)


def _marks(connection: Connection) -> dict[str, str]:
    query = select(meta.c.key, meta.c.value).where(meta.c.key >= _MARK, meta.c.key < _MARK + "g")
    return {row.key.removeprefix(_MARK): row.value for row in connection.execute(query)}


def pending(engine: Engine) -> dict[str, str]:
    """Return the photos that are marked for deletion and how far it has come."""
    with reading(engine) as connection:
        return _marks(connection)


def finish(library: Library) -> int:
    """Delete everything that is still there of photos that were removed; returns how many photos there were.

    A photo in an issued report keeps its original: what was issued stays reproducible. Raises OSError or
    NotWritten where something cannot be deleted; the marks stay and the next call goes on.
    """
    marks = pending(library.engine)
    if not marks:
        return 0
    with reading(library.engine) as connection:
        shas = sorted(marks.keys() - _issued(connection))
        sizes = _sizes(connection, shas)
    delete_files(library, sizes)
    with writing(library.engine) as connection:
        changed = _wipe(connection, shas)
        if changed:
            of_these = meta.c.key.in_([_MARK + sha for sha in marks])
            connection.execute(update(meta).where(of_these).values(value=_WIPED))
    if changed or _WIPED in marks.values():
        compact(library.engine)
    with writing(library.engine) as connection:
        for lot in lots(sorted(marks), _LOT):
            connection.execute(delete(meta).where(meta.c.key.in_([_MARK + sha for sha in lot])))
    return len(shas)


def _issued(connection: Connection) -> set[str]:
    rows = connection.execute(select(statement.c.payload).where(statement.c.kind == "issued")).scalars()
    return {str(sha) for payload in rows for sha in payload.get("photos", ())}


def _sizes(connection: Connection, shas: Sequence[str]) -> dict[str, int]:
    """Return the size in bytes of each photo's original by hash, 0 where it is not known."""
    sizes = dict.fromkeys(shas, 0)
    for lot in lots(shas, _LOT):
        query = select(photo_table.c.sha, photo_table.c.bytes).where(photo_table.c.sha.in_(lot))
        sizes |= {row.sha: row.bytes for row in connection.execute(query)}
    return sizes


def delete_files(library: Library, sizes: dict[str, int]) -> None:
    """Delete the originals and every cached file of photos, half-written ones too. Raises OSError."""
    folders = set()
    for sha in sizes:
        for file in (*files_of(library.originals.folder, sha), *_cached(library.caches, sha)):
            remove_file(file)
            folders.add(file.parent)
    if sizes:
        for file in _copies_in_scratch(library.caches, sizes):
            file.unlink(missing_ok=True)
            folders.add(file.parent)
        for name in ("seen.sqlite", "seen.sqlite-wal", "seen.sqlite-shm"):  # holds the paths they came from
            (library.caches / name).unlink(missing_ok=True)
    for folder in folders:
        sync_folder(folder)


def files_of(folder: Path, sha: str) -> list[Path]:
    """Return a photo's files below a folder that is divided by the first two digits of the hash."""
    place = folder / sha[:2]
    return [*place.glob(f"{sha}*"), *place.glob(f".{sha[:12]}*")]


def _cached(caches: Path, sha: str) -> Iterator[Path]:
    """Yield a photo's files in the caches: `KIND/ab/...` and `KIND/RECIPE/ab/...`."""
    for pattern in (f"*/{sha[:2]}", f"*/*/{sha[:2]}"):
        for folder in caches.glob(pattern):
            yield from (*folder.glob(f"{sha}*"), *folder.glob(f".{sha[:12]}*"))


def _copies_in_scratch(caches: Path, sizes: dict[str, int]) -> Iterator[Path]:
    """Yield copies that a broken upload or a broken reading of a zip has left, known by size and hash."""
    known = set(sizes.values())
    for name in ("unpacked", "uploads"):
        for file in (caches / name).rglob("*"):
            if file.is_file() and file.stat().st_size in known and sha256_of(file) in sizes:
                yield file


def _wipe(connection: Connection, shas: Sequence[str]) -> bool:
    """Delete the rows and private texts of photos; says whether there was anything to delete."""
    changed = 0
    if not shas:
        return False
    refs = _refs_of(connection, set(shas))
    for chunk in lots(sorted(refs), _LOT):
        texts = private.c.ref.in_(chunk) & private.c.text.is_not(None)
        changed += connection.execute(update(private).where(texts).values(text=None)).rowcount
    for chunk in lots(shas, _LOT):
        rows = delete(suggestion).where(suggestion.c.photo.in_(chunk))
        changed += connection.execute(rows).rowcount
    return bool(changed + listeners.photos_dropped(connection, shas))


def _refs_of(connection: Connection, shas: set[str]) -> set[str]:
    """Return the references of texts that only these photos' events use: others may share a place."""
    theirs: set[str] = set()
    others = set(connection.execute(select(event.c.by_ref).distinct()).scalars())
    query = select(event.c.payload).where(event.c.payload.contains('"private":{'))
    for text in connection.execute(query.execution_options(yield_per=1000)).scalars():
        payload = json.loads(text)
        mine = payload.get("sha") in shas or payload.get("photo") in shas
        (theirs if mine else others).update(payload.get("private", {}).values())
    return theirs - others


def removed_photos(library: Library) -> set[str]:
    """Return the hashes of all photos that were removed for good."""
    with library.read() as connection:
        gone = photo_table.c.state == "forgotten"
        return set(connection.execute(select(photo_table.c.sha).where(gone)).scalars())


def strays(library: Library) -> list[Path]:
    """Return the files among the originals that no photo owns; unfinished ones are left out."""
    with library.read() as connection:
        here = photo_table.c.state == "here"
        rows = connection.execute(select(photo_table.c.sha, photo_table.c.suffix).where(here))
        owned = {f"{row.sha}{row.suffix}" for row in rows}
        owned_shas = _issued(connection)
    folder = library.originals.folder
    return [
        path
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and not path.name.startswith(".")
        and path.name not in owned
        and path.name.split(".")[0] not in owned_shas
    ]


def why_not(error: OSError | NotWritten) -> str:
    """Say in a few words why something could not be deleted."""
    if isinstance(error, OSError):
        return f"{error.strerror or error}: {error.filename}" if error.filename else str(error)
    return str(error).rstrip(".")
