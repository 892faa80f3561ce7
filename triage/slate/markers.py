"""Finding the markers of cards in a photo, and their sides to a fraction of a pixel.

The markers are found by OpenCV's detector in a reduced picture first; their sides are then located in the
full picture: across each side the black border meets white paper, and the middle of that step is taken at
places along the side. Sides rather than corners are measured because a corner is rounded by blur and a
side is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.slate.layout import DICTIONARY, MARKER_CELLS, Layout, marker_place

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

SEARCH_LONG_SIDE_PX = 1600
ALONG = (0.16, 0.36, 0.64, 0.84)
"""Where along a side the step is taken: fractions from its first corner."""
STRIP = 0.14
"""Length of the side that is averaged at each of these places, as a fraction of it."""
MIN_STEP = 0.08
"""Smallest difference between paper and ink, in linear light 0..1, that counts as a step."""


@dataclass(frozen=True)
class Marker:
    """One marker as seen: place on its card and corners in pixels, shape (4, 2), as `Layout` orders them."""

    layout: Layout
    check: int
    place: int
    corners: Floats

    @property
    def side_px(self) -> float:
        """Mean length of a side in pixels."""
        return float(np.linalg.norm(self.corners - np.roll(self.corners, -1, axis=0), axis=1).mean())

    @property
    def cell_px(self) -> float:
        """Size of a cell in pixels across its narrower way."""
        return min(_depth(self, 0), _depth(self, 1)) / MARKER_CELLS


@dataclass(frozen=True)
class SidePoints:
    """Points on the sides of markers: card coordinates in mm, pixels, outward normals; each shape (n, 2)."""

    card_mm: Floats
    outward_mm: Floats
    pixels: Floats
    normals: Floats

    def keep(self, mask: NDArray[np.bool_]) -> SidePoints:
        """Return the points where the mask is true."""
        return SidePoints(self.card_mm[mask], self.outward_mm[mask], self.pixels[mask], self.normals[mask])


def gray_of(rgb: Pixels) -> Pixels:
    """Return the gray picture, shape (h, w), of an RGB one, shape (h, w, 3), or of a gray one."""
    if rgb.ndim == 2:
        return rgb
    import cv2

    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def find_markers(gray: Pixels) -> list[Marker]:
    """Find every marker of any card; reduced picture first, the full one where that shows fewer than six."""
    import cv2

    long_side = max(gray.shape)
    factor = min(1.0, SEARCH_LONG_SIDE_PX / long_side)
    small = (
        gray if factor == 1 else cv2.resize(gray, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    )
    found = _detect(np.asarray(small, dtype=np.uint8), factor)
    if factor < 1 and len(found) < 6:
        found = _merge(found, _detect(gray, 1.0))
    return found


def _detect(gray: Pixels, factor: float) -> list[Marker]:
    import cv2

    words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(words, _parameters(gray)).detectMarkers(gray)
    found = []
    for quad, marker_id in zip(corners, [] if ids is None else ids.ravel(), strict=True):
        place = marker_place(int(marker_id))
        if place is not None:
            pixels = (quad.reshape(4, 2).astype(np.float64) + 0.5) / factor - 0.5
            found.append(Marker(*place, pixels))
    return found


def _parameters(gray: Pixels) -> Any:
    import cv2

    wanted = cv2.aruco.DetectorParameters()
    wanted.minMarkerPerimeterRate = min(0.03, 4 * 10.0 / max(gray.shape))
    wanted.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    return wanted


def _merge(first: list[Marker], more: list[Marker]) -> list[Marker]:
    kept = list(first)
    for marker in more:
        middle = marker.corners.mean(axis=0)
        twin = any(
            np.linalg.norm(other.corners.mean(axis=0) - middle) < 0.5 * other.side_px for other in kept
        )
        if not twin:
            kept.append(marker)
    return kept


def side_points(gray: Pixels, markers: list[Marker]) -> SidePoints:
    """Locate the sides of markers: four points a side where paper meets ink clearly.

    `gray` is the full picture, shape (h, w). Points without a clear step (glare, a finger) are left out.
    """
    import cv2

    card, outward, start, normal, cell = _wanted_points(markers)
    reach = np.clip(0.55 * cell, 1.6, 8.0)
    steps = np.linspace(-1, 1, 33)
    light = _linear(gray, start, float(reach.max()) + 3)
    tangent = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    strip = np.linspace(-0.5, 0.5, 9)[None, :] * (STRIP * MARKER_CELLS * cell)[:, None]
    base = start[:, None, :] + strip[:, :, None] * tangent[:, None, :]
    where = (
        base[:, :, None, :] + (steps[None, :] * reach[:, None])[:, None, :, None] * normal[:, None, None, :]
    )
    flat = (where.reshape(-1, 33, 2) - light.corner).astype(np.float32)
    profile = cv2.remap(
        light.gray, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    shift, clear = _steps(profile.reshape(len(start), 9, 33).mean(axis=1), steps)
    pixels = start + (shift * reach)[:, None] * normal
    return SidePoints(card, outward, pixels, normal).keep(clear)


@dataclass(frozen=True)
class _Light:
    gray: NDArray[np.float32]
    corner: Floats


def _linear(gray: Pixels, points: Floats, pad: float) -> _Light:
    """Cut out the part of the picture around points and undo the display curve (near enough gamma 2.2)."""
    low = np.maximum(np.floor(points.min(axis=0) - pad), 0).astype(int)
    high = np.ceil(points.max(axis=0) + pad).astype(int) + 1
    part = gray[low[1] : high[1], low[0] : high[0]]
    curve = ((np.arange(256) / 255) ** 2.2).astype(np.float32)
    return _Light(curve[part], low.astype(np.float64))


def _wanted_points(markers: list[Marker]) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Card mm, outward direction on the card, first guess in pixels, outward normal, size of a cell in px."""
    along = np.array(ALONG)[:, None]
    card, outward, start, normal, cell = [], [], [], [], []
    for marker in markers:
        true = marker.layout.marker_corners[marker.place]
        for side in range(4):
            a, b = marker.corners[side], marker.corners[(side + 1) % 4]
            p, q = true[side], true[(side + 1) % 4]
            length = float(np.linalg.norm(b - a))
            run, edge = (b - a) / length, (q - p) / marker.layout.marker_mm
            card.append(p + along * (q - p))
            start.append(a + along * (b - a))
            outward.append(np.tile([edge[1], -edge[0]], (len(ALONG), 1)))
            normal.append(np.tile([run[1], -run[0]], (len(ALONG), 1)))
            cell.append(np.full(len(ALONG), _depth(marker, side) / MARKER_CELLS))
    return (np.vstack(card), np.vstack(outward), np.vstack(start), np.vstack(normal), np.concatenate(cell))


def _depth(marker: Marker, side: int) -> float:
    """Extent of the marker in pixels across one side (small where it is seen obliquely)."""
    a, b = marker.corners[side], marker.corners[(side + 1) % 4]
    run = (b - a) / np.linalg.norm(b - a)
    inward = marker.corners[(side + 2) % 4] - b
    return float(abs(run[0] * inward[1] - run[1] * inward[0]))


def _steps(profile: NDArray[np.float32], at: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Middle of the dark-to-light step in each row, in units of the reach, and whether it is clear."""
    dark, light = profile[:, :6].min(axis=1), profile[:, -6:].max(axis=1)
    rise = np.clip(np.diff(profile, axis=1), 0, None)
    middle = (at[1:] + at[:-1]) / 2
    total = rise.sum(axis=1)
    safe = np.maximum(total, 1e-9)
    first = (rise * middle).sum(axis=1) / safe
    near = np.abs(middle[None, :] - first[:, None]) < 0.75
    kept = rise * near
    center = (kept * middle).sum(axis=1) / np.maximum(kept.sum(axis=1), 1e-9)
    clear = (light - dark > MIN_STEP) & (np.abs(center) < 0.8) & (total < 1.8 * (light - dark))
    return center, clear
