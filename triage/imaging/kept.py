"""The upright JPEG of a library's photo, made anew where it is not kept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from triage.imaging.examine import examine

if TYPE_CHECKING:
    from triage.library import Library


def rendition_of(library: Library, sha: str) -> Path:
    """Return the path of a photo's upright JPEG (long side at most 1600 px, no metadata).

    Raises Damaged where the original is missing, BadPhoto where it cannot be read any more.
    """
    path = library.renditions.path(sha)
    if path.exists():
        return path
    return library.renditions.put(sha, examine(library.original(sha)).rendition_jpeg)
