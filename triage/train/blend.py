"""Joining the whole-photo score and the cell score: one weight, shrunk to a half."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from triage.train.measures import average_precision

if TYPE_CHECKING:
    from triage.train.types import Floats

SHRINK = 10.0
GUARD_WHOLE = (0.0, 1.0, 0.0)
GUARD_BOTH = (0.0, 1.0, 0.25)
"""Blend of the guards: fixed, as nothing may be tuned on the deck that a guard leaves out. Whole scores run
from -1 to 1, cell scores are log odds."""
GRID = np.linspace(0, 1, 11)


def join(blend: tuple[float, float, float], whole: Floats, cells: Floats) -> Floats:
    """Raw scores (n,): offset + weighted sum; a photo without cells (NaN or -inf) takes its whole score."""
    cells = np.where(np.isfinite(cells), cells, whole)
    return np.asarray(blend[0] + blend[1] * whole + blend[2] * cells)


def choose(whole: Floats, cells: Floats, labels: Floats) -> tuple[float, float, float]:
    """(offset, whole, cell) from left-out scores (n,) and labels 0/1 (n,)."""
    if not np.isfinite(cells).any():
        return 0.0, 1.0, 0.0
    cells = np.where(np.isfinite(cells), cells, whole)
    spread_whole, spread_cells = float(whole.std()) or 1.0, float(cells.std()) or 1.0
    z_whole, z_cells = (whole - whole.mean()) / spread_whole, (cells - cells.mean()) / spread_cells
    values = np.array([float(average_precision((1 - w) * z_whole + w * z_cells, labels)) for w in GRID])
    best = float(GRID[int(np.argmax(values))])
    n = float(labels.sum())
    share = (n * best + SHRINK * 0.5) / (n + SHRINK)
    on_cells = share * spread_whole / spread_cells
    offset = share * (float(whole.mean()) - float(cells.mean()) * spread_whole / spread_cells)
    return offset, 1 - share, on_cells
