"""Reading a card in a photo: which deck it names, or why it cannot be told."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.slate.card import Card, card_from_text, library_code
from triage.slate.layout import MARKERS, Layout
from triage.slate.markers import SEARCH_LONG_SIDE_PX, Marker, Pixels, find_markers, gray_of

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Problem:
    """Why a card cannot be used as it is: one sentence, and what to do about it."""

    kind: str
    sentence: str
    hint: str


@dataclass(frozen=True)
class CardSeen:
    """A card in a photo. `card` is null where it could not be told which; `problem` says what is amiss."""

    card: Card | None
    markers: tuple[Marker, ...] = ()
    problem: Problem | None = None


TWO = Problem("two-cards", "two different cards are in this photo", "Photograph one card at a time.")
MIRRORED = Problem(
    "mirrored",
    "the photo is mirrored: left and right are swapped",
    "Take it with the main camera, or switch off mirroring.",
)


def _foreign(card: Card) -> Problem:
    return Problem(
        "other-library",
        f"the card belongs to another library (code {card.library})",
        "Print cards from this library with: deck-triage slate DECK --out FILE.pdf",
    )


def _unread(seen: int) -> Problem:
    if seen < MARKERS:
        return Problem(
            "torn",
            f"only {seen} of the card's {MARKERS} squares are seen and its code cannot be read: "
            "it is torn, covered or cut off",
            "Print the card again, or show all of it.",
        )
    return Problem(
        "unreadable",
        "a card is seen but its code cannot be read: it is blurred, covered or too far away",
        "Photograph the card from an arm's length.",
    )


def read_card(rgb: Pixels, library_id: str | None = None) -> CardSeen | None:
    """Read the card in a photo; null where there is none.

    `rgb` is an upright photo, shape (h, w, 3) or gray (h, w), uint8. With `library_id` a card of another
    library is a problem. A card that could not be told still matters to sorting: it is a boundary.
    """
    gray = gray_of(rgb)
    markers = find_markers(gray)
    if not markers:
        return _without_markers(gray, library_id)
    groups = _groups(markers)
    if len(groups) > 1 or any(_doubled(group) for group in groups):
        return CardSeen(None, tuple(groups[0]), TWO)
    group = groups[0]
    card = _card_of(gray, group)
    if card is None:
        return CardSeen(None, tuple(group), _unread(len(group)))
    return CardSeen(card, tuple(group), _problem(card, group, library_id))


def _problem(card: Card, group: list[Marker], library_id: str | None) -> Problem | None:
    if (card.layout, card.check) != (group[0].layout, group[0].check):
        return TWO
    if library_id is not None and card.library != library_code(library_id):
        return _foreign(card)
    return None


def _groups(markers: Iterable[Marker]) -> list[list[Marker]]:
    """Markers by card, the most first; a lone marker much smaller than the others' is a speck, not a card."""
    by_card: dict[tuple[str, int], list[Marker]] = defaultdict(list)
    for marker in markers:
        by_card[marker.layout.paper, marker.check].append(marker)
    groups = sorted(by_card.values(), key=lambda group: -len(group))
    size = np.median([marker.side_px for marker in groups[0]])
    return [
        group
        for place, group in enumerate(groups)
        if place == 0 or len(group) > 1 or group[0].side_px > 0.3 * size
    ]


def _doubled(group: list[Marker]) -> bool:
    return len({marker.place for marker in group}) < len(group)


def _without_markers(gray: Pixels, library_id: str | None) -> CardSeen | None:
    """Look for a mirrored card, then for a code alone (the squares may be covered or too small)."""
    import cv2

    factor = min(1.0, SEARCH_LONG_SIDE_PX / max(gray.shape))
    small = np.asarray(cv2.resize(gray, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), np.uint8)
    turned = np.ascontiguousarray(small[:, ::-1])
    group = find_markers(turned)
    if len(group) > 1:
        return CardSeen(_card_of(turned, group), (), MIRRORED)
    text, *_ = cv2.QRCodeDetector().detectAndDecode(small)
    card = card_from_text(text or "")
    if card is None:
        return None
    foreign = library_id is not None and card.library != library_code(library_id)
    return CardSeen(card, (), _foreign(card) if foreign else None)


def card_homography(markers: Iterable[Marker]) -> Floats:
    """Homography from the card (mm) to the picture (px), shape (3, 3), by all corners of some markers.

    Least squares of the algebraic error after scaling both sides (Hartley's normalization), as OpenCV
    does it; for measuring, `triage.slate.plane` fits camera and paper as well.
    """
    import cv2

    chosen = list(markers)
    flat = np.vstack([marker.layout.marker_corners[marker.place] for marker in chosen])
    seen = np.vstack([marker.corners for marker in chosen])
    return np.asarray(cv2.findHomography(flat, seen, 0)[0], dtype=np.float64)


_NEAR_CODE = (0, 1, 3, 4)
"""Places of the four markers around the QR code."""


def _card_of(gray: Pixels, group: list[Marker]) -> Card | None:
    """Decode the QR code where the markers say that it is; several sizes and contrasts are tried."""
    import cv2

    near = [marker for marker in group if marker.place in _NEAR_CODE]
    across = card_homography(near if len(near) > 1 else group)
    for side in (480, 300):
        square = _code_square(gray, group[0].layout, across, side)
        _, sharp = cv2.threshold(square, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
        for picture in (square, np.asarray(sharp, np.uint8)):
            text, *_ = cv2.QRCodeDetector().detectAndDecode(picture)
            card = card_from_text(text or "")
            if card is not None:
                return card
    return None


def _code_square(gray: Pixels, layout: Layout, across: Floats, side: int) -> Pixels:
    import cv2

    left, top, right, _ = layout.qr_zone
    scale = (right - left) / side
    to_card = np.array([[scale, 0, left + scale / 2], [0, scale, top + scale / 2], [0, 0, 1]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    square = cv2.warpPerspective(gray, across @ to_card, (side, side), flags=flags)
    return np.asarray(square, dtype=np.uint8)
