"""The library as one file, and back.

A backup is a zip (stored, not packed) with a consistent copy of the database, `library.toml`, the firm's own
files, the models and every original; caches stay out.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import zipfile
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from triage.errors import BadInput, Damaged
from triage.library.copying import copy_database
from triage.library.migrate import LIBRARY_FILE
from triage.library.store import sync_folder

if TYPE_CHECKING:
    from collections.abc import Callable

    from triage.library.library import Library

_MANIFEST = "manifest.json"
_DATABASE = "library.sqlite"
_MAX_FILES = 5_000_000
_FOLDERS = ("originals", "models")
_FILES = (LIBRARY_FILE, "tags.toml", "rules.toml")
_SHARED = re.compile(r"(?m)^database = .*\n")


def backup(
    library: Library, file: Path, progress: Callable[[str, int, int | None], None] | None = None
) -> int:
    """Write the library as one file; returns how many files are in it. Others may write meanwhile.

    The words of a shared database are copied into the file, so that it is restored as a library that stands
    by itself. The file appears whole or not at all. Raises BadInput when it exists.
    """
    if file.exists():
        raise BadInput(f"{file} is there already.", "Name a file that does not exist yet.")
    temporary = file.with_name(f".{file.name}.{secrets.token_hex(4)}.tmp")
    copy = temporary.with_suffix(".sqlite")
    try:
        copy_database(library.engine, copy)
        count = _pack(library.path, copy, temporary, progress)
        temporary.replace(file)
        sync_folder(file.parent if str(file.parent) else Path())
    finally:
        temporary.unlink(missing_ok=True)
        copy.unlink(missing_ok=True)
    return count


def _pack(
    folder: Path, database: Path, target: Path, progress: Callable[[str, int, int | None], None] | None
) -> int:
    members = [(folder / name, name) for name in _FILES[1:] if (folder / name).exists()]
    members.append((database, _DATABASE))
    for part in _FOLDERS:
        members += [
            (path, path.relative_to(folder).as_posix())
            for path in sorted((folder / part).rglob("*"))
            if path.is_file() and not any(piece.startswith(".") for piece in path.relative_to(folder).parts)
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
    draft = path.parent / f".{path.name}.{secrets.token_hex(4)}.tmp"
    try:
        with zipfile.ZipFile(file) as archive:
            manifest = _manifest(archive, file)
            for number, (name, sha) in enumerate(manifest.items(), 1):
                _unstore(archive, name, sha, draft, file)
                if progress:
                    progress("restoring", number, len(manifest))
        if path.exists():
            path.rmdir()
        draft.rename(path)
    except (zipfile.BadZipFile, EOFError, KeyError, NotImplementedError, RuntimeError) as error:
        raise Damaged(f"{file} is no whole backup ({error}).", "Use another copy of the backup.") from error
    finally:
        _remove(draft)
    return len(manifest)


def _manifest(archive: zipfile.ZipFile, file: Path) -> dict[str, str]:
    if _MANIFEST not in archive.namelist() or archive.getinfo(_MANIFEST).file_size > 1_000_000_000:
        raise Damaged(f"{file} is no backup of a library.", "Name a file that backup wrote.")
    try:
        found = json.loads(archive.read(_MANIFEST))["sha256"]
    except (json.JSONDecodeError, KeyError, TypeError) as error:
        raise Damaged(f"{file} is no backup of a library.", "Name a file that backup wrote.") from error
    if not isinstance(found, dict) or len(found) > _MAX_FILES:
        raise Damaged(f"{file} is no backup of a library.", "Name a file that backup wrote.")
    for name in found:
        parts = PurePosixPath(name).parts
        known = name in (*_FILES, _DATABASE) or (len(parts) > 1 and parts[0] in _FOLDERS)
        if not known or ".." in parts or "\\" in name or name.startswith("/"):
            raise Damaged(f"{file} names a file that no library has: {name!r}.", "Do not use this file.")
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
        target.chmod(0o444)


def _remove(folder: Path) -> None:
    import shutil

    shutil.rmtree(folder, ignore_errors=True)
