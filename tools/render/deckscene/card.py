"""A printed card with markers in the scene: dark squares on a white sheet, from a matrix of bits."""

from __future__ import annotations

import numpy as np

from .errors import RenderError
from .meshes import Feature, Scene, join, prism

LIFT_M = 0.0006


def stick(
    scene: Scene,
    dark: np.ndarray,
    corner_m: tuple[float, float, float],
    right: tuple[float, float, float],
    up: tuple[float, float, float],
    width_m: float,
) -> np.ndarray:
    """Put a card of `dark` bits (rows, columns; row 0 on top) with its lower left corner at `corner_m`.

    `right` and `up` are unit vectors in its plane, its face along right x up. Gives back its corners (4, 3)
    in metres: lower left, lower right, upper right, upper left. A picture of one bit a pixel, as a marker
    library gives it, can be put in as it is.

    Raises:
        RenderError: the bits are no matrix, or the two directions are not square to each other.
    """
    bits = np.asarray(dark, bool)
    u, v = np.asarray(right, float), np.asarray(up, float)
    if bits.ndim != 2 or not bits.size:
        raise RenderError("A card needs a matrix of bits, rows by columns.")
    if abs(u @ v) > 1e-6 or not np.allclose([u @ u, v @ v], 1):
        raise RenderError("The card's 'right' and 'up' are not unit vectors square to each other.")
    rows, columns = bits.shape
    cell, origin, out = width_m / columns, np.asarray(corner_m, float), np.cross(u, v)
    high = cell * rows
    sheet = [(0.0, 0.0), (width_m, 0.0), (width_m, high), (0.0, high)]
    prism(scene, "card", "card", "paper", sheet, LIFT_M, list(origin), tuple(u), tuple(v))
    ink = []
    for row in range(rows):
        for start, end in _runs(bits[row]):
            low, top = cell * (rows - row - 1), cell * (rows - row)
            flat = np.array([[cell * start, low], [cell * end, low], [cell * end, top], [cell * start, top]])
            ink.append(origin + flat[:, :1] * u + flat[:, 1:] * v + 2 * LIFT_M * out)
    join(scene, "card", "card", "ink", [(quad, [np.array([[0, 1, 2, 3]])], quad.copy()) for quad in ink])
    corners = np.array([origin + a * u + b * v + LIFT_M * out for a, b in sheet])
    scene.features.append(Feature("card", "card", 0.0, corners, np.tile(out, (4, 1)), ("card",)))
    return corners


def _runs(row: np.ndarray) -> list[tuple[int, int]]:
    """Start and end of every run of dark bits."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
