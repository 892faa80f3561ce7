"""Files that a browser sends: streamed to a folder of their own below the library's caches, within limits.

No name out of the browser becomes a path before every part of it was checked; the folder is named by a
random number that the server chose.
"""

from __future__ import annotations

import re
import secrets
import shutil
from collections.abc import AsyncIterator
from pathlib import Path, PurePosixPath
from typing import Self

from starlette.concurrency import run_in_threadpool

from triage.errors import BadInput
from triage.imaging.decode import MAX_BYTES
from triage.ingest.collect import MAX_ZIP_BYTES, PHOTO_SUFFIXES, clean_name
from triage.library import Library
from triage.web.bodies import BodyTooLarge

MAX_PHOTO_BYTES = MAX_BYTES
MAX_ZIP_UPLOAD_BYTES = 20_000_000_000
MAX_UPLOAD_BYTES = MAX_ZIP_BYTES
MAX_FILES = 50_000
KEEP_FREE_BYTES = 500_000_000
_MAX_DEPTH, _MAX_PART = 8, 150
_ID = re.compile(r"[0-9a-f]{16}")
_DRIVE = re.compile(r"^[A-Za-z]:")


class Upload:
    """One batch of files on its way in."""

    suffixes: tuple[str, ...] = (*PHOTO_SUFFIXES, ".zip")
    what = "a photo or a zip"

    def __init__(self, library: Library, upload_id: str) -> None:
        if not _ID.fullmatch(upload_id):
            raise BadInput("There is no such upload.", "Choose the files again.")
        self.id = upload_id
        self.folder = library.caches / "uploads" / upload_id
        self.files = self.folder / "files"

    @classmethod
    def begin(cls, library: Library) -> Self:
        """Make the folder of a new upload."""
        upload = cls(library, secrets.token_hex(8))
        upload.files.mkdir(parents=True)
        return upload

    @classmethod
    def find(cls, library: Library, upload_id: str) -> Self:
        """Return an upload that is there. Raises BadInput for one that is not."""
        upload = cls(library, upload_id)
        if not upload.files.is_dir():
            raise BadInput("There is no such upload.", "Choose the files again.")
        return upload

    def place(self, name: str) -> Path:
        """Return where a file of this name goes. Raises BadInput for a name that could lead elsewhere."""
        parts = PurePosixPath(name.replace("\\", "/")).parts
        if not parts or len(parts) > _MAX_DEPTH or name.startswith(("/", "\\")) or _DRIVE.match(name):
            raise BadInput(f"{name[:80]!r} is no name for a file.", "Choose the file again.")
        cleaned = [clean_name(part) for part in parts]
        if any(
            part in (".", "..") or part.startswith(".") or len(part.encode()) > _MAX_PART for part in cleaned
        ):
            raise BadInput(f"{name[:80]!r} is no name for a file.", "Rename it and choose it again.")
        if any("/" in part or "\0" in part for part in cleaned):
            raise BadInput(f"{name[:80]!r} is no name for a file.", "Rename it and choose it again.")
        if not cleaned[-1].lower().endswith(self.suffixes):
            raise BadInput(f"{cleaned[-1][:80]!r} is not {self.what}.", "Leave it out.")
        return self.files.joinpath(*cleaned)

    def most(self, place: Path) -> int:
        """Return how many bytes a file may have here and now. Raises TooLarge where the upload is full."""
        limit = MAX_ZIP_UPLOAD_BYTES if place.suffix.lower() == ".zip" else MAX_PHOTO_BYTES
        free = shutil.disk_usage(self.folder).free - KEEP_FREE_BYTES
        if free <= 0:
            raise BodyTooLarge("The disk is nearly full.", "Free some space and send the files again.")
        return min(limit, free)

    async def take(self, name: str, body: AsyncIterator[bytes]) -> int:
        """Write a file as it comes, whole or not at all; returns its size in bytes."""
        place = await run_in_threadpool(self.place, name)
        if place.exists():
            raise BadInput(f"{name[:80]!r} came twice.", "It was kept once.")
        await run_in_threadpool(place.parent.mkdir, parents=True, exist_ok=True)
        temporary = place.parent / f".{secrets.token_hex(8)}.part"
        size = 0
        try:
            with temporary.open("wb") as file:
                async for chunk in body:
                    size += len(chunk)
                    await run_in_threadpool(file.write, chunk)
            temporary.replace(place)
        finally:
            temporary.unlink(missing_ok=True)
        return size

    def offered(self) -> list[Path]:
        """Return the top folders, zips and photos of the upload, in order."""
        return sorted(one for one in self.files.iterdir() if not one.name.startswith("."))

    def count(self) -> int:
        """Return how many files came."""
        return sum(1 for one in self.files.rglob("*") if one.is_file() and not one.name.startswith("."))

    def drop(self) -> None:
        """Delete the files; the photos are in the library by then."""
        shutil.rmtree(self.folder, ignore_errors=True)
