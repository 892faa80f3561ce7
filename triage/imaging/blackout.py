"""Parts of photos that a person painted black, such as a face: they hold in every picture handed on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from triage.errors import BadPhoto
from triage.imaging.rendition import encode_jpeg
from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Box

BLACKOUT = "blackout"
"""Kind of the event: {photo, boxes}; the latest of a photo counts, an empty list takes it back."""


def blackouts(lib: Library) -> dict[str, Sequence[Box]]:
    """Return the boxes to paint over (fractions of the upright photo), by photo."""
    found: dict[str, Sequence[Box]] = {}
    for event in queries.statements(lib, BLACKOUT):
        found[str(event.payload["photo"])] = [(x, y, w, h) for x, y, w, h in event.payload["boxes"]]
    return {sha: boxes for sha, boxes in found.items() if boxes}


def paint_over(jpeg: bytes, boxes: Sequence[Box]) -> bytes:
    """Return an upright JPEG with boxes painted black into its pixels; without boxes the same bytes.

    Raises BadPhoto where it cannot be read.
    """
    if not boxes:
        return jpeg
    import math

    import cv2
    import numpy as np

    picture = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    if picture is None:
        raise BadPhoto("cannot be read, so nothing can be painted over in it")
    height, width = picture.shape[:2]
    for x, y, w, h in boxes:  # every pixel that a box touches
        left, top = math.floor(x * width), math.floor(y * height)
        picture[top : math.ceil((y + h) * height), left : math.ceil((x + w) * width)] = 0
    return encode_jpeg(np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), np.uint8), 92)
