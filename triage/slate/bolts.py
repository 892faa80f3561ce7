"""Round things on the rectified plane that may be bolts or washers: offered for a click, never a fact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.slate.layout import MM_PER_IN
from triage.slate.markers import Pixels, gray_of
from triage.slate.measure import Measurable

Floats = NDArray[np.float64]

SMALLEST_IN, LARGEST_IN = 0.6, 1.7
"""Across: a 1/2 in hex head is 3/4 in across flats (ASME B18.2.1, from memory), a washer 1-3/8 in."""
REACH_IN = (60.0, 14.0)
MOST_PX_PER_IN, LEAST_PX_PER_IN = 24.0, 8.0
MOST_SIDE_PX = 2600


@dataclass(frozen=True)
class Round:
    """A round thing: middle as fractions of the photo, diameter in inches."""

    x: float
    y: float
    across_in: float

    def to_json(self) -> dict[str, float]:
        """Return it for a page or a script."""
        return {"x": self.x, "y": self.y, "across_in": round(self.across_in, 2)}


@dataclass(frozen=True)
class Rectified:
    """The plane seen squarely: gray picture, pixels an inch, and inches of its upper left corner."""

    gray: Pixels
    px_per_in: float
    corner_in: tuple[float, float]


def rectify(rgb: Pixels, found: Measurable) -> Rectified:
    """Return the part of the plane around the card that the photo shows, as if seen squarely."""
    import cv2

    low, high = _window(found)
    px = _px_per_in(found)
    px = min(px, MOST_SIDE_PX / float(max(high - low)))
    size = np.maximum(np.round((high - low) * px), 8).astype(int)
    xs, ys = np.meshgrid((np.arange(size[0]) + 0.5) / px + low[0], (np.arange(size[1]) + 0.5) / px + low[1])
    spots = found.to_photo(np.stack([xs.ravel(), ys.ravel()], axis=1)) * found.size - 0.5
    where = spots.astype(np.float32).reshape(size[1], size[0], 2)
    gray = cv2.remap(gray_of(rgb), where[..., 0], where[..., 1], cv2.INTER_LINEAR)
    return Rectified(np.asarray(gray, dtype=np.uint8), px, (float(low[0]), float(low[1])))


def _window(found: Measurable) -> tuple[Floats, Floats]:
    """Inches of the part of the plane within reach that is in the photo."""
    edge = np.linspace(0, 1, 21)
    rim = [(x, y) for x in edge for y in edge]
    seen = found.to_inches(rim)
    seen = seen[np.isfinite(seen).all(axis=1)]
    reach = np.array(REACH_IN)
    return np.clip(seen.min(axis=0), -reach, 0), np.clip(seen.max(axis=0), 0, reach)


def _px_per_in(found: Measurable) -> float:
    """Pixels an inch of the photo at the card, along its better direction."""
    spots = found.to_photo(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])) * found.size
    most = max(np.linalg.norm(spots[1] - spots[0]), np.linalg.norm(spots[2] - spots[0]))
    return float(np.clip(most, LEAST_PX_PER_IN, MOST_PX_PER_IN))


def rounds(rgb: Pixels, found: Measurable, most: int = 60) -> list[Round]:
    """Return round things beside the card that are of a bolt's size, the clearest first."""
    import cv2

    flat = rectify(rgb, found)
    smooth = cv2.GaussianBlur(flat.gray, (0, 0), max(0.8, 0.06 * flat.px_per_in))
    circles = cv2.HoughCircles(
        smooth,
        cv2.HOUGH_GRADIENT_ALT,
        1.5,
        flat.px_per_in * 1.2,
        param1=200,
        param2=0.8,
        minRadius=int(SMALLEST_IN / 2 * flat.px_per_in),
        maxRadius=round(LARGEST_IN / 2 * flat.px_per_in) + 1,
    )
    if circles is None:
        return []
    spots = []
    half = np.array([found.fit.layout.width_mm, found.fit.layout.height_mm]) / 2 / MM_PER_IN
    for x, y, radius, *_ in circles.reshape(-1, circles.shape[-1])[:most]:
        inches = np.array([[x + 0.5, y + 0.5]]) / flat.px_per_in + np.array([flat.corner_in])
        if (np.abs(inches[0]) < half).all():
            continue
        place = found.to_photo(inches)[0]
        if (place >= 0).all() and (place <= 1).all():
            spots.append(Round(float(place[0]), float(place[1]), float(2 * radius / flat.px_per_in)))
    return spots
