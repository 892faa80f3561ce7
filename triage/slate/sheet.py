"""Whether a card was printed at full size, told by the edges of its sheet of paper.

A photo alone has no scale: a card printed at 94 % looks like a whole one from farther away. But a printer
shrinks the picture and not the paper, so the paper's edges then stand too far out from the markers. Where
the edges cannot be seen (white wall, cut card) nothing is said; the ruler line on the card is what is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.slate.markers import Pixels
from triage.slate.plane import PlaneFit, paper_points, project

Floats = NDArray[np.float64]

SHEETS_MM = {"letter": (279.4, 215.9), "a4": (297.0, 210.0)}
"""US Letter 8-1/2 x 11 in and ISO 216 A4, lying."""
FULL_SIZE = 0.015
"""A printed scale within this of 1 counts as full size (the interval carries the rest)."""
_LINES, _STEP_MM = 28, 0.25
_FIRST_MM, _LAST = 2.0, 1.22


@dataclass(frozen=True)
class PrintedScale:
    """At what scale a card was printed, on which sheet, and by how many edges that was told."""

    scale: float
    sheet: str
    edges: int

    @property
    def full_size(self) -> bool:
        """Whether it is near enough 100 %."""
        return abs(self.scale - 1) <= FULL_SIZE


def printed_scale(gray: Pixels, fit: PlaneFit) -> PrintedScale | None:
    """Tell the printed scale from the sheet's edges; null where two opposite edges cannot be seen.

    `gray` is the full picture, shape (h, w). Cards that are cut out (pocket) have no sheet left: null.
    """
    if fit.layout.paper not in SHEETS_MM:
        return None
    edges = {name: _edge(gray, fit, *side) for name, side in _SIDES.items()}
    across, down = _span(edges["left"], edges["right"]), _span(edges["top"], edges["bottom"])
    return _best(across, down)


_SIDES = {"left": (0, -1), "right": (0, 1), "top": (1, -1), "bottom": (1, 1)}


def _span(low: float | None, high: float | None) -> float | None:
    return None if low is None or high is None else low + high


def _best(across: float | None, down: float | None) -> PrintedScale | None:
    """Of the two sheets take the one whose two sides tell the same scale, or the nearer to full size."""
    options = []
    for name, (width, height) in SHEETS_MM.items():
        scales = [true / seen for true, seen in ((width, across), (height, down)) if seen is not None]
        if scales and max(scales) - min(scales) < 0.02:
            options.append(PrintedScale(float(np.mean(scales)), name, 2 * len(scales)))
    if not options or max(one.edges for one in options) < 4:
        sure = [one for one in options if one.full_size]
        return sure[0] if sure else None
    return min(options, key=lambda one: abs(one.scale - 1))


def _edge(gray: Pixels, fit: PlaneFit, axis: int, sign: int) -> float | None:
    """Distance in card mm from the card's middle to the paper's edge on one side, or null."""
    import cv2

    layout = fit.layout
    block = np.array([layout.block_width_mm, layout.block_height_mm]) / 2
    sheet = np.array([layout.width_mm, layout.height_mm]) / 2
    out = np.arange(block[axis] + _FIRST_MM, sheet[axis] * _LAST, _STEP_MM)
    along = np.linspace(-0.85, 0.85, _LINES) * block[1 - axis]
    flat = np.empty((_LINES, len(out), 2))
    flat[..., axis], flat[..., 1 - axis] = sign * out[None, :], along[:, None]
    pixels = project(fit.frame, fit.values, paper_points(fit.values, flat.reshape(-1, 2)))
    inside = ((pixels >= 0) & (pixels < [gray.shape[1] - 1, gray.shape[0] - 1])).all(axis=1)
    where = pixels.astype(np.float32).reshape(_LINES, len(out), 2)
    light = cv2.remap(gray, where[..., 0], where[..., 1], cv2.INTER_LINEAR).astype(np.float64)
    light[~inside.reshape(_LINES, len(out))] = np.nan
    return _agreed(light, out)


def _agreed(light: Floats, out: Floats) -> float | None:
    """Where most lines leave the paper: the first lasting fall to below two thirds of the paper's light."""
    found = []
    for row in light:
        if np.isnan(row).any():
            continue
        paper = np.median(row[:8])
        dark = row < 0.78 * paper
        lasting = dark[:-6] & dark[3:-3] & dark[6:]
        if lasting.any():
            found.append(out[int(np.argmax(lasting))])
    if len(found) < 0.6 * _LINES:
        return None
    middle = float(np.median(found))
    near = np.abs(np.array(found) - middle) < 1.5
    return middle if near.mean() > 0.6 else None
