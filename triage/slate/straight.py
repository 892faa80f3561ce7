"""A sign that a card does not lie in the plane of the boards: their edges would converge.

On the true plane the long edges of a ledger and of the boards above it run parallel. Seen through the plane
of a card that is turned away from them, their directions change with the height at which they lie.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.slate.layout import MM_PER_IN
from triage.slate.markers import SEARCH_LONG_SIDE_PX, Pixels
from triage.slate.plane import PlaneFit

Floats = NDArray[np.float64]

SHORTEST = 0.12
"""Length of an edge that counts, as a fraction of the picture's long side."""
REACH_MM = 1200.0
LEAST_SPREAD_MM = 120.0
FEWEST_EDGES = 4
SHARPNESS = 5.0
"""The change of direction must be this many times its own standard error."""
MOST_SCATTER_DEG = 0.8


def convergence_deg(gray: Pixels, fit: PlaneFit) -> float | None:
    """Change of direction of the long edges, degrees per foot across them; null where too few tell it."""
    ends = _edges(gray)
    if len(ends) < FEWEST_EDGES:
        return None
    plane = fit.to_plane(ends.reshape(-1, 2)).reshape(-1, 2, 2)
    plane = plane[np.isfinite(plane).all(axis=(1, 2))]
    run, middle = plane[:, 1] - plane[:, 0], plane.mean(axis=1)
    near = (np.abs(middle) < REACH_MM).all(axis=1) & ~_on_card(fit, plane)
    run, middle = run[near], middle[near]
    if len(run) < FEWEST_EDGES:
        return None
    angle = np.arctan2(run[:, 1], run[:, 0])
    weight = np.linalg.norm(run, axis=1)
    main = np.angle((weight * np.exp(2j * angle)).sum()) / 2
    off = (angle - main + np.pi / 2) % np.pi - np.pi / 2
    across = middle @ np.array([-np.sin(main), np.cos(main)])
    alike = np.abs(off) < np.radians(15)
    return _slope(across[alike], off[alike], weight[alike])


def _edges(gray: Pixels) -> Floats:
    """Long straight edges as pairs of pixels of the full picture, shape (n, 2, 2)."""
    import cv2

    factor = min(1.0, SEARCH_LONG_SIDE_PX / max(gray.shape))
    small = cv2.resize(gray, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    found: Any = cv2.createLineSegmentDetector().detect(small)[0]
    ends = (
        np.asarray([] if found is None else found, dtype=np.float64).reshape(-1, 2, 2) + 0.5
    ) / factor - 0.5
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    return np.asarray(ends[length > SHORTEST * max(gray.shape)])


def _on_card(fit: PlaneFit, plane: Floats) -> NDArray[np.bool_]:
    half = np.array([fit.layout.width_mm, fit.layout.height_mm]) / 2 * 1.06
    return np.asarray((np.abs(plane) < half).all(axis=(1, 2)))


def _slope(across: Floats, off: Floats, weight: Floats) -> float | None:
    """Weighted straight line of direction over height; null where it is not clearly told."""
    for _ in range(3):
        if len(off) < FEWEST_EDGES or np.ptp(across) < LEAST_SPREAD_MM:
            return None
        design = np.stack([np.ones_like(across), across], axis=1)
        normal = design.T @ (design * weight[:, None])
        line = np.linalg.solve(normal, design.T @ (off * weight))
        rest = off - design @ line
        scatter = float(np.sqrt((weight * rest**2).sum() / weight.sum()))
        keep = np.abs(rest) < max(2.5 * scatter, np.radians(0.2))
        if keep.all():
            break
        across, off, weight = across[keep], off[keep], weight[keep]
    spread = float(
        np.sqrt((weight * (across - np.average(across, weights=weight)) ** 2).sum() / weight.sum())
    )
    error = max(scatter, np.radians(0.05)) / max(spread, 1e-9) / np.sqrt(max(len(off) - 2, 1))
    if np.degrees(scatter) > MOST_SCATTER_DEG or abs(line[1]) < SHARPNESS * error:
        return 0.0
    return float(np.degrees(line[1]) * 12 * MM_PER_IN)
