"""Where everything sits on a printed card.

Lengths are millimeters on the card. The origin is the middle of the card, x runs right, y runs down, as
seen by a reader. Six square markers of OpenCV's ArUco dictionary stand in two rows of three; their ids
tell the paper and a check number of the card, so that two cards in one photo are noticed even where no
QR code can be read.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from triage.errors import WrongUsage

MM_PER_IN = 25.4
DICTIONARY = "DICT_ARUCO_MIP_36h12"
"""250 markers of 6 x 6 cells, any two at least 12 cells apart in any turn (OpenCV's predefined list)."""
MARKER_CELLS = 8
"""Cells along a marker's side, its black border of one cell included."""
MARKERS = 6
SETS_PER_PAPER = 13
QUIET_MODULES = 4
"""Width of the empty border around a QR code (ISO/IEC 18004, 2015, section 6.3.8)."""

Corners = NDArray[np.float64]


@dataclass(frozen=True)
class Layout:
    """One size of card: the sheet, the markers, the QR code's square and the ruler line, all in mm."""

    paper: str
    number: int
    width_mm: float
    height_mm: float
    block_width_mm: float
    block_height_mm: float
    marker_mm: float
    qr_zone_mm: float
    ruler_in: int

    @cached_property
    def marker_centers(self) -> Corners:
        """Middles of the six markers, shape (6, 2): the upper row from the left, then the lower row."""
        half_x = (self.block_width_mm - self.marker_mm) / 2
        half_y = (self.block_height_mm - self.marker_mm) / 2
        return np.array([(x, y) for y in (-half_y, half_y) for x in (-half_x, 0.0, half_x)])

    @cached_property
    def marker_corners(self) -> Corners:
        """Corners of the markers, shape (6, 4, 2): upper left, upper right, lower right, lower left."""
        half = self.marker_mm / 2
        turn = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
        return np.asarray(self.marker_centers[:, None, :] + turn[None, :, :])

    @cached_property
    def qr_zone(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the square that holds the QR code with its quiet border."""
        left = -self.block_width_mm / 2
        half = self.qr_zone_mm / 2
        return left, -half, left + self.qr_zone_mm, half

    @cached_property
    def outline(self) -> Corners:
        """Corners of the sheet, shape (4, 2), in the order of a marker's corners."""
        half_x, half_y = self.width_mm / 2, self.height_mm / 2
        return np.array([(-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y)])

    def marker_ids(self, check: int) -> list[int]:
        """Return the six dictionary ids of a card with this check number (0 to 12)."""
        first = MARKERS * (self.number * SETS_PER_PAPER + check)
        return list(range(first, first + MARKERS))


LAYOUTS: dict[str, Layout] = {
    "letter": Layout("letter", 0, 279.4, 215.9, 254.0, 190.5, 42.0, 96.0, 6),
    "a4": Layout("a4", 1, 297.0, 210.0, 271.0, 184.0, 42.0, 96.0, 6),
    "pocket": Layout("pocket", 2, 152.4, 101.6, 142.0, 91.2, 22.0, 46.0, 3),
}
"""The three cards: US Letter 8-1/2 x 11 in, ISO 216 A4 210 x 297 mm, both lying; index card 6 x 4 in."""


def layout_named(paper: str) -> Layout:
    """Return the card's layout; raises WrongUsage for a paper that there is none for."""
    if paper not in LAYOUTS:
        raise WrongUsage(f"There is no card on '{paper}'.", "Take one of: " + ", ".join(LAYOUTS))
    return LAYOUTS[paper]


def marker_place(marker_id: int) -> tuple[Layout, int, int] | None:
    """Return layout, check number and place on the card of a dictionary id, or null for a foreign one."""
    card, place = divmod(marker_id, MARKERS)
    paper, check = divmod(card, SETS_PER_PAPER)
    for layout in LAYOUTS.values():
        if layout.number == paper:
            return layout, check, place
    return None
