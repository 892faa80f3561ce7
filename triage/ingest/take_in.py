"""Taking one file in: hash, EXIF, one decode, the original and the rendition into the store.

Runs in a worker process that may be killed; it writes whole files only and never touches the database.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from triage.ingest.collect import SourceFile
from triage.ingest.exif import ExifFacts, read_exif
from triage.library.store import Originals, Renditions, sha256_of

_IN_MEMORY_BYTES = 100_000_000
"""Larger files are read three times instead of once."""
_SUFFIX = {".jpeg": ".jpg", ".jpe": ".jpg", ".tif": ".tiff", ".heif": ".heic", ".hif": ".heic"}


@dataclass(frozen=True)
class Task:
    """A file to take in; where it was removed for good, nothing is decoded or copied.

    `read` is what was read before of bytes with that hash, so that it is read once; `removed` are the hashes
    of photos that were removed from the library for good.
    """

    offered: SourceFile
    originals: Path
    renditions: Path
    read: tuple[str, ExifFacts] | None = None
    removed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class IngestedFile:
    """What was found out about a file; in a dry run only hash and EXIF."""

    sha: str
    bytes: int
    suffix: str
    width: int = 0
    height: int = 0
    orientation: int = 1
    phash: str | None = None
    quality: Mapping[str, Any] | None = None
    exif: ExifFacts | None = None


def take_in(task: Task) -> IngestedFile:
    """Hash, decode and store one file.

    Raises BadPhoto when the pixels cannot be read whole, and OSError when the disk is full or read-only.
    """
    from triage.errors import BadPhoto

    path = task.offered.path
    suffix = _SUFFIX.get(path.suffix.lower(), path.suffix.lower())
    try:
        size = path.stat().st_size
        if size > _IN_MEMORY_BYTES:
            data, sha = None, sha256_of(path)
        else:
            data = path.read_bytes()
            sha, size = hashlib.sha256(data).hexdigest(), len(data)
    except OSError as error:
        raise BadPhoto(f"cannot be read: {error.strerror or error}") from error
    if sha in task.removed:
        return IngestedFile(sha, size, suffix)
    from triage.imaging import examine

    originals = Originals(task.originals)
    seen = examine(path if data is None else data)
    if task.read is not None and task.read[0] == sha:
        exif = task.read[1]
    else:
        exif = read_exif(path if data is None else data)
    if data is None:
        originals.add(path, sha, suffix)
    else:  # the very bytes that were hashed and decoded, whatever happens to the file meanwhile
        originals.put(data, sha, suffix)
    Renditions(task.renditions).put(sha, seen.rendition_jpeg)
    return IngestedFile(
        sha, size, suffix, seen.width, seen.height, seen.orientation, seen.phash, dict(seen.quality), exif
    )
