"""Joining the whole-photo score and the cell score by one weight, shrunk to a half where photos carry boxes.

Without boxes the cells have learnt from bags alone and are the weaker part (average precision .69 against .78
at 20 dead knots on sawn boards), so there the weight is shrunk to a quarter; between, by the share of boxes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from triage.train.measures import average_precision

if TYPE_CHECKING:
    from triage.train.types import Floats

SHRINK = 10.0
"""Positives that the shrinking counts for."""
WITH_BOXES, WITHOUT_BOXES = 0.5, 0.25
GUARD_WHOLE = (0.0, 1.0, 0.0)
GUARD_BOTH = (0.0, 1.0, 0.25)
"""Blend of the guards: fixed, as nothing may be tuned on the deck that a guard leaves out. Whole scores run
from -1 to 1, cell scores are log odds."""
GRID = np.linspace(0, 1, 11)
LEAST_SPREAD = 1e-3
"""Cell scores whose spread is below this share of the whole scores' say nothing and are left out."""


def join(blend: tuple[float, float, float], whole: Floats, cells: Floats) -> Floats:
    """Raw scores (n,): offset + weighted sum; a photo without cells (NaN or -inf) takes its whole score."""
    if blend[2] == 0:
        return np.asarray(blend[0] + blend[1] * whole)
    known = np.isfinite(cells)
    both = blend[0] + blend[1] * whole + blend[2] * np.where(known, cells, 0.0)
    return np.asarray(np.where(known, both, whole))


def choose(whole: Floats, cells: Floats, labels: Floats, boxed: float = 1.0) -> tuple[float, float, float]:
    """(offset, whole, cell) from left-out scores.

    Parameters
    ----------
    whole, cells : (n,) scores by models that had not seen the deck; cells may be NaN where there are none.
    labels : (n,) 0 or 1.
    boxed : share of the positives that carry a box or a point.

    The cells are brought to the whole scores' mean and spread, so the raw score keeps the scale of log odds.
    The share of the cells is the middle of those that rank best, drawn to its prior.
    """
    known = np.isfinite(cells)
    spread_whole = float(whole.std())
    spread_cells = float(cells[known].std()) if known.any() else 0.0
    if spread_cells <= LEAST_SPREAD * spread_whole or spread_whole == 0:
        return 0.0, 1.0, 0.0
    scale = spread_whole / spread_cells
    shift = float(whole.mean()) - float(cells[known].mean()) * scale
    alike = np.where(known, cells * scale + shift, whole)
    values = np.array([float(average_precision((1 - w) * whole + w * alike, labels)) for w in GRID])
    best = float(GRID[values >= values.max() - 1e-9].mean())
    prior = boxed * WITH_BOXES + (1 - boxed) * WITHOUT_BOXES
    n = float(labels.sum())
    share = (n * best + SHRINK * prior) / (n + SHRINK)
    return share * shift, 1 - share, share * scale
