"""Blackouts: boxes drawn by hand over a face or a plate, painted into every picture of a report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from triage.errors import BadInput
from triage.imaging.blackout import BLACKOUT
from triage.library import queries
from triage.library.records import Box

if TYPE_CHECKING:
    from triage.library import Library


def black_out(lib: Library, photo: str, boxes: Sequence[Sequence[float]], *, by: str) -> list[Box]:
    """Record boxes (x, y, width, height in fractions of the upright photo) to paint over; returns them.

    Originals and screens stay as they are. Raises BadInput for an unknown photo or a box outside of it.
    """
    sha = queries.find_photo(lib, photo).sha
    checked = [_checked(box) for box in boxes]
    lib.say(BLACKOUT, {"photo": sha, "boxes": [list(box) for box in checked]}, by=by)
    return checked


def _checked(box: Sequence[float]) -> Box:
    if len(box) != 4:
        raise BadInput(f"A blackout is four numbers (x, y, width, height), not {len(box)}.")
    x, y, w, h = (float(number) for number in box)
    if not (0 <= x <= 1 and 0 <= y <= 1 and 0 < w <= 1 - x + 1e-9 and 0 < h <= 1 - y + 1e-9):
        raise BadInput(
            f"The blackout {x:g}, {y:g}, {w:g}, {h:g} does not lie in the photo.",
            "Give fractions of the upright photo: 0 is left or top, 1 is right or bottom.",
        )
    return (x, y, w, h)
