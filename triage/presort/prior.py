"""How common a tag is in a batch, from the probabilities alone: shown, never applied to the piles.

Where a batch differs from the labeled photos only in how common the tag is, its share is the fixed point of
re-weighting the probabilities (Saerens, Latinne, Decaestecker, Neural Computation 14, 2002): the maximum of
the likelihood in the share, reached by expectation and maximization.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

STEPS = 500
_EDGE = 1e-6


def batch_share(probabilities: Sequence[float] | NDArray[np.float64], labeled_share: float) -> float | None:
    """Share of the batch that shows the tag, in [0, 1].

    Parameters
    ----------
    probabilities : (n,) calibrated on photos of which `labeled_share` showed the tag.
    labeled_share : strictly between 0 and 1.

    Returns None for an empty batch or a share of 0 or 1.
    """
    chance = np.clip(np.asarray(probabilities, float), _EDGE, 1 - _EDGE)
    if len(chance) == 0 or not 0 < labeled_share < 1:
        return None
    odds = chance / (1 - chance) * (1 - labeled_share) / labeled_share
    share = labeled_share
    for _ in range(STEPS):
        new = float(np.mean(share * odds / (share * odds + 1 - share)))
        if abs(new - share) < 1e-9:
            break
        share = new
    return share
