"""The upright JPEG of a library's photo, made again where it is not kept."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from triage.errors import Damaged
from triage.imaging.examine import examine

if TYPE_CHECKING:
    from triage.library import Library


def rendition_of(library: Library, sha: str) -> Path:
    """Return the path of a photo's upright JPEG (long side at most 1600 px, no metadata).

    One that was cut short is made again from the original. Raises Damaged where the original is missing,
    BadPhoto where it cannot be read any more.
    """
    if library.renditions.is_whole(sha):
        return library.renditions.path(sha)
    return library.renditions.put(sha, examine(library.original(sha)).rendition_jpeg)


def fresh_rendition(library: Library, sha: str) -> bytes:
    """Return a photo's upright JPEG made from its original, after checking that original against its hash.

    Raises Damaged where the original is missing or was changed, BadPhoto where it cannot be read any more.
    """
    original = library.original(sha)
    data = original.read_bytes()
    if hashlib.sha256(data).hexdigest() != sha:
        raise Damaged(f"The original of photo {sha[:12]} was changed.", "Restore a backup of the library.")
    jpeg = examine(data).rendition_jpeg
    if library.renditions.get(sha) != jpeg:
        library.renditions.put(sha, jpeg)
    return jpeg
