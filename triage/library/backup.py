"""The library as one file, and back.

A backup is a zip (stored, not packed) with a consistent copy of the database, `library.toml`, the firm's own
files, the models and every original; caches stay out.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import zipfile
import zlib
from collections.abc import Collection, Sequence
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING
from urllib.parse import quote, unquote_to_bytes

from sqlalchemy import delete, insert, select

from triage.errors import BadInput, Damaged, NotWritten
from triage.library.copying import copy_database
from triage.library.database import writing
from triage.library.drafts import draft_of, sweep, sweep_folder
from triage.library.migrate import LIBRARY_FILE
from triage.library.tables import meta
from triage.platforms import protect_original, sync_folder

if TYPE_CHECKING:
    from collections.abc import Callable

    from triage.library.library import Library

_KNOWN = "backup:"
"""Rows of `meta` that say where a backup was written."""
_MANIFEST = "manifest.json"
_DATABASE = "library.sqlite"
_MAX_FILES = 5_000_000
_FOLDERS = ("originals", "models")
_FILES = (LIBRARY_FILE, "tags.toml", "rules.toml", "firm.toml")
_SHARED = re.compile(r"(?m)^database = .*\n")


def backup(
    library: Library, file: Path, progress: Callable[[str, int, int | None], None] | None = None
) -> int:
    """Write the library as one file; returns how many files are in it. Others may write meanwhile.

    The words of a shared database are copied into the file, so that it is restored as a library that stands
    by itself. The file appears whole or not at all, and what was removed for good is not in it. The library
    remembers where its backups are. Raises BadInput when the file exists.
    """
    if file.exists():
        raise BadInput(f"{file} already exists.", "Name a file that does not exist yet.")
    library.finish_removals()
    with suppress(NotWritten):
        _remember(library, file)  # before it is written: a killed backup is found at the next opening
    return _write(library, file, progress)


def _write(
    library: Library, file: Path, progress: Callable[[str, int, int | None], None] | None = None
) -> int:
    with draft_of(file) as draft:
        copy_database(library.engine, draft / _DATABASE)
        owned = _owned(draft / _DATABASE)
        count = _pack(library.path, draft / _DATABASE, owned, draft / "whole", progress)
        (draft / "whole").replace(file)
    sync_folder(file.parent)
    return count


def _owned(database: Path) -> set[str]:
    """Return the names of the originals that a copied database speaks of; the copy forgets other backups."""
    with closing(sqlite3.connect(database)) as copy:
        copy.execute("PRAGMA secure_delete=ON")
        copy.execute("DELETE FROM meta WHERE key >= ? AND key < ?", (_KNOWN, _KNOWN + "~"))
        copy.commit()
        issued = {
            sha
            for (payload,) in copy.execute("SELECT payload FROM statement WHERE kind = 'issued'")
            for sha in json.loads(payload).get("photos", ())
        }
        rows = copy.execute("SELECT sha, suffix, state FROM photo").fetchall()
    return {f"{sha}{suffix}" for sha, suffix, state in rows if state == "here" or sha in issued}


def _remember(library: Library, file: Path) -> None:
    key = _KNOWN + quote(os.fsencode(file.absolute()))
    with writing(library.engine) as connection:
        connection.execute(delete(meta).where(meta.c.key == key))
        connection.execute(insert(meta).values(key=key, value=datetime.now(UTC).isoformat()))


def known_backups(library: Library) -> list[Path]:
    """Return where backups of this library were written, whether or not they are still there."""
    query = select(meta.c.key).where(meta.c.key >= _KNOWN, meta.c.key < _KNOWN + "~").order_by(meta.c.key)
    with library.read() as connection:
        keys = connection.execute(query).scalars().all()
    return [Path(os.fsdecode(unquote_to_bytes(key.removeprefix(_KNOWN)))) for key in keys]


def sweep_left_overs(library: Library) -> list[Path]:
    """Delete what killed backups, upgrades and restores of this library have left; returns what was deleted.

    Drafts of originals and caches are left to `verify --mend`: looking through a million files would make
    every start slow.
    """
    found = [draft for file in known_backups(library) for draft in sweep(file)]
    found += sweep(library.path.absolute())  # a restore to this place that was killed before another one
    return found + sweep_folder(library.path) + sweep_folder(library.path / "copies")


def copies_that_hold(library: Library, shas: Collection[str]) -> list[Path]:
    """Return the copies from before upgrades and the known backups that still hold one of these photos.

    Files that were moved or copied elsewhere are not known. One that cannot be read counts as holding it.
    """
    copies = sorted((library.path / "copies").glob("*.sqlite"))
    found = [copy for copy in copies if _copy_holds(copy, shas)]
    return found + [file for file in known_backups(library) if file.is_file() and _backup_holds(file, shas)]


def _copy_holds(copy: Path, shas: Collection[str]) -> bool:
    try:
        with closing(sqlite3.connect(f"{copy.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as opened:
            query = "SELECT 1 FROM photo WHERE sha = ? AND state = 'here'"
            return any(opened.execute(query, (sha,)).fetchone() for sha in shas)
    except sqlite3.Error:
        return True


def _backup_holds(file: Path, shas: Collection[str]) -> bool:
    try:
        with zipfile.ZipFile(file) as archive:
            names = archive.namelist()
    except (OSError, zipfile.BadZipFile):
        return True
    return any(
        name.rpartition("/")[2].split(".")[0] in shas for name in names if name.startswith("originals/")
    )


def purge_copies(library: Library, held: Sequence[Path]) -> None:
    """Delete copies from before upgrades, and rewrite backups from the library as it is now.

    A library only ever grows, so the new backup holds everything that the old one held but for what was
    removed. Raises OSError where a file cannot be replaced.
    """
    for file in held:
        if file.parent == library.path / "copies":
            file.unlink()
        else:
            _write(library, file)


def _pack(
    folder: Path,
    database: Path,
    owned: Collection[str],
    target: Path,
    progress: Callable[[str, int, int | None], None] | None,
) -> int:
    members = [(folder / name, name) for name in _FILES[1:] if (folder / name).exists()]
    members.append((database, _DATABASE))
    for part in _FOLDERS:
        members += [
            (path, path.relative_to(folder).as_posix())
            for path in sorted((folder / part).rglob("*"))
            if path.is_file()
            and not any(piece.startswith(".") for piece in path.relative_to(folder).parts)
            and (part != "originals" or path.name in owned)
        ]
    hashes = {}
    with target.open("wb") as out:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
            toml = _SHARED.sub("", (folder / LIBRARY_FILE).read_text()).encode()
            archive.writestr(zipfile.ZipInfo(LIBRARY_FILE, (1980, 1, 1, 0, 0, 0)), toml)
            hashes[LIBRARY_FILE] = hashlib.sha256(toml).hexdigest()
            for number, (path, name) in enumerate(members, 1):
                hashes[name] = _store(archive, path, name)
                if progress:
                    progress("backing up", number, len(members))
            archive.writestr(_MANIFEST, json.dumps({"format": 1, "sha256": hashes}, sort_keys=True))
        out.flush()
        os.fsync(out.fileno())
    return len(hashes)


def _store(archive: zipfile.ZipFile, path: Path, name: str) -> str:
    digest = hashlib.sha256()
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    with path.open("rb") as source, archive.open(info, "w", force_zip64=True) as out:
        while chunk := source.read(1 << 20):
            digest.update(chunk)
            out.write(chunk)
    return digest.hexdigest()


def restore(file: Path, path: Path, progress: Callable[[str, int, int | None], None] | None = None) -> int:
    """Make a library from a backup in a new folder; returns how many files were written.

    Raises BadInput when the folder is not empty, Damaged when the backup is not whole. Nothing is written
    outside the folder.
    """
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise BadInput(f"{path} is not empty.", "Name a folder that does not exist yet.")
    if not file.is_file():
        raise BadInput(f"There is no file {file}.", "Check the path.")
    path = path.absolute()
    try:
        with zipfile.ZipFile(file) as archive, draft_of(path) as draft:
            manifest = _manifest(archive, file)
            _check_sizes(archive, file, path.parent)
            for number, (name, sha) in enumerate(manifest.items(), 1):
                _unstore(archive, name, sha, draft, file)
                if progress:
                    progress("restoring", number, len(manifest))
            if path.exists():
                path.rmdir()
            draft.rename(path)
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError, RuntimeError) as error:
        raise Damaged(
            f"{file} is not a complete backup ({error}).", "Use another copy of the backup."
        ) from error
    return len(manifest)


def _check_sizes(archive: zipfile.ZipFile, file: Path, place: Path) -> None:
    """Refuse a file that is packed, as no backup is, or that holds more than the disk has room for."""
    place.mkdir(parents=True, exist_ok=True)
    entries = archive.infolist()
    if any(one.compress_type != zipfile.ZIP_STORED or one.file_size != one.compress_size for one in entries):
        raise Damaged(
            f"{file} would unpack to far more than its size; a backup never does.", "Do not use this file."
        )
    needed = sum(one.file_size for one in entries)
    if needed > file.stat().st_size:
        raise Damaged(f"{file} claims to hold more than it does.", "Do not use this file.")
    if needed > shutil.disk_usage(place).free:
        raise NotWritten(
            f"There is no room to restore {file}: it needs {needed / 1e6:,.0f} MB.",
            "Free some space, or restore to another disk.",
        )


def _manifest(archive: zipfile.ZipFile, file: Path) -> dict[str, str]:
    if _MANIFEST not in archive.namelist() or archive.getinfo(_MANIFEST).file_size > 1_000_000_000:
        raise Damaged(f"{file} is not a backup of a library.", "Name a file that backup wrote.")
    try:
        found = json.loads(archive.read(_MANIFEST))["sha256"]
    except (json.JSONDecodeError, KeyError, TypeError) as error:
        raise Damaged(f"{file} is not a backup of a library.", "Name a file that backup wrote.") from error
    if not isinstance(found, dict) or len(found) > _MAX_FILES:
        raise Damaged(f"{file} is not a backup of a library.", "Name a file that backup wrote.")
    for name in found:
        parts = PurePosixPath(name).parts
        known = name in (*_FILES, _DATABASE) or (len(parts) > 1 and parts[0] in _FOLDERS)
        if not known or ".." in parts or "\\" in name or name.startswith("/"):
            raise Damaged(
                f"{file} holds a file that does not belong in a library: {name!r}.", "Do not use this file."
            )
    return {str(name): str(sha) for name, sha in found.items()}


def _unstore(archive: zipfile.ZipFile, name: str, sha: str, draft: Path, file: Path) -> None:
    target = draft / name
    target.parent.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256()
    with archive.open(name) as source, target.open("wb") as out:
        while chunk := source.read(1 << 20):
            digest.update(chunk)
            out.write(chunk)
        out.flush()
        os.fsync(out.fileno())
    if digest.hexdigest() != sha:
        raise Damaged(f"{name} inside {file} does not match its hash.", "Use another copy of the backup.")
    if name.startswith("originals/"):
        protect_original(target)
