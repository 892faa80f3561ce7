"""Joining the whole-photo score and the cell score by one weight.

Where photos carry boxes both parts are about as good and different, so the share of the cells is a half
before anything was seen; without boxes the cells have learnt from bags alone, which did not beat the whole
view up to 50 positives, so there it is nothing; between, by the share of boxes. What moves the share away
from that is the log loss of left-out scores (stacked regressions: Breiman, Machine Learning 24, 1996), far
steadier than a ranking at ten positives; `PRIOR_SPREAD` says how firmly the share is held.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import expit

from triage.train.linear import balanced, fit_primal

if TYPE_CHECKING:
    from triage.train.types import Floats

PRIOR_SPREAD = 0.11
"""Standard deviation of the share around its prior: of .11 and .22 the better one on splits 0 to 19 of the
real sets; `tools/bench/run blend` tells figures on other splits."""
WITH_BOXES, WITHOUT_BOXES = 0.5, 0.0
LEAVE_ONE_OUT_WHOLE = (0.0, 1.0, 0.0)
LEAVE_ONE_OUT_BOTH = (0.0, 1.0, 0.25)
"""Blend of the leave-one-out models: fixed, as nothing may be tuned on the deck that a model
leaves out. Whole scores run from -1 to 1, cell scores are log odds."""
GRID = np.linspace(0, 1, 21)
_SLOPE_C = 100.0
"""Strength of the logistic regression of a blended score, of spread 1, on the labels."""
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
    The share of the cells has the least sum of log loss and penalty for leaving its prior.
    """
    known = np.isfinite(cells)
    spread_whole = float(whole.std())
    spread_cells = float(cells[known].std()) if known.any() else 0.0
    if spread_cells <= LEAST_SPREAD * spread_whole or spread_whole == 0:
        return 0.0, 1.0, 0.0
    scale = spread_whole / spread_cells
    shift = float(whole.mean()) - float(cells[known].mean()) * scale
    alike = np.where(known, cells * scale + shift, whole)
    prior = boxed * WITH_BOXES + (1 - boxed) * WITHOUT_BOXES
    losses = [_loss((1 - share) * whole + share * alike, labels) for share in GRID]
    penalties = (GRID - prior) ** 2 / (2 * PRIOR_SPREAD**2)
    share = float(GRID[np.argmin(losses + penalties)])
    return share * shift, 1 - share, share * scale


def _loss(scores: Floats, labels: Floats) -> float:
    """Log loss of scores after their best slope and offset; the absent weigh as much as the present."""
    column = (scores - scores.mean()) / (float(scores.std()) or 1.0)
    weights = balanced(labels, np.ones(len(labels)))
    weights *= 2 * float(labels.sum()) / float(weights.sum())
    slope, offset = fit_primal(column[:, None], labels, weights, _SLOPE_C)
    chance = np.clip(expit(max(0.0, float(slope[0])) * column + offset), 1e-9, 1 - 1e-9)
    return -float(weights @ (labels * np.log(chance) + (1 - labels) * np.log1p(-chance)))
