"""Content-addressed originals, and caches that can be deleted.

A file is written under a temporary name, flushed to the disk and renamed, so a half-written file is
never read as a whole one. Originals are read-only and never change.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from triage.library.drafts import hold
from triage.platforms import protect_original, remove_file, sync_folder

_CHUNK = 1 << 20
_JPEG_BEGINS, _JPEG_ENDS = b"\xff\xd8", b"\xff\xd9"


def sha256_of(path: Path) -> str:
    """Return the SHA-256 (FIPS 180-4) of a file, read a megabyte at a time."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it is there whole or not at all, also after a crash."""
    write_streamed(path, lambda writer: writer.write(data))


def write_streamed(path: Path, write: Callable[[BinaryIO], object], *, read_only: bool = False) -> None:
    """Have `write` fill a file that is there whole or not at all, also after a crash. Raises OSError.

    The file has a short hidden name until it is complete: as long a name as the system allows works too.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.parent / f".{path.name[:12]}.{secrets.token_hex(4)}.tmp"
    try:
        with _held_draft(temporary) as writer:
            write(writer)
            writer.flush()
            os.fsync(writer.fileno())
        if read_only:
            protect_original(temporary)
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
    sync_folder(path.parent)


def _held_draft(path: Path) -> BinaryIO:
    """Open a draft that nobody sweeps away as left over; one swept before it was locked is opened again."""
    while True:
        writer = path.open("wb")
        hold(writer.fileno())
        if os.fstat(writer.fileno()).st_nlink:
            return writer
        writer.close()


class Originals:
    """The photo files as they came, named by their SHA-256."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha: str, suffix: str) -> Path:
        """Return where an original stands, whether or not it is there."""
        return self.folder / sha[:2] / f"{sha}{suffix}"

    def add(self, source: Path, sha: str, suffix: str) -> Path:
        """Copy a file in, checking that what was written has the hash; a known one is left alone.

        Raises OSError (a full disk, a read-only folder) with nothing half left behind.
        """
        digest = hashlib.sha256()

        def copy(writer: BinaryIO) -> None:
            with source.open("rb") as reader:
                while chunk := reader.read(_CHUNK):
                    digest.update(chunk)
                    writer.write(chunk)
            if digest.hexdigest() != sha:
                raise OSError(f"{source} changed while it was read")

        return self._keep(sha, suffix, copy)

    def put(self, data: bytes, sha: str, suffix: str) -> Path:
        """Keep bytes whose hash the caller has just computed; a known one is left alone.

        Raises OSError (a full disk, a read-only folder) with nothing half left behind.
        """
        return self._keep(sha, suffix, lambda writer: writer.write(data))

    def _keep(self, sha: str, suffix: str, write: Callable[[BinaryIO], object]) -> Path:
        """Have an original written whole and read-only, or nothing of it; a known one is left alone."""
        target = self.path(sha, suffix)
        if not target.exists():
            write_streamed(target, write, read_only=True)
        return target

    def remove(self, sha: str, suffix: str) -> None:
        """Delete an original for good."""
        remove_file(self.path(sha, suffix))

    def all(self) -> Iterator[tuple[str, Path]]:
        """Yield (sha, path) of every file, in order; temporary files are passed over."""
        if not self.folder.exists():
            return
        for path in sorted(self.folder.glob("??/*")):
            if not path.name.startswith("."):
                yield path.name.split(".")[0], path


class Renditions:
    """Upright JPEGs without metadata, made again whenever they are gone."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha: str) -> Path:
        """Return where the rendition stands, whether or not it is there."""
        return self.folder / sha[:2] / f"{sha}.jpg"

    def put(self, sha: str, jpeg: bytes) -> Path:
        """Keep a rendition, written whole like an original: reports rest on it."""
        path = self.path(sha)
        write_whole(path, jpeg)
        return path

    def get(self, sha: str) -> bytes | None:
        """Return a rendition, or null where there is none or it was cut short."""
        try:
            jpeg = self.path(sha).read_bytes()
        except FileNotFoundError:
            return None
        return jpeg if jpeg.startswith(_JPEG_BEGINS) and jpeg.endswith(_JPEG_ENDS) else None

    def is_whole(self, sha: str) -> bool:
        """Say whether a rendition is there from its first to its last bytes."""
        try:
            with self.path(sha).open("rb") as file:
                begins = file.read(2)
                file.seek(-2, os.SEEK_END)
                return begins == _JPEG_BEGINS and file.read(2) == _JPEG_ENDS
        except OSError:
            return False

    def remove(self, sha: str) -> None:
        """Drop one rendition."""
        self.path(sha).unlink(missing_ok=True)
