"""The cells of both feature maps side by side, which the projection is fitted on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from triage.features.pooling import pool_to_grid, unit

if TYPE_CHECKING:
    from numpy.typing import NDArray


def joined_cells(last_map: NDArray[np.float32], earlier_map: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return (rows * cols, 1280 + 672): each cell's last-map and earlier-map feature, each of unit length.

    The earlier map has twice the resolution; the largest of its 2 x 2 places is used for the cell.
    """
    last = unit(np.ascontiguousarray(last_map.reshape(last_map.shape[0], -1).T))
    pooled = pool_to_grid(earlier_map)
    earlier = unit(np.ascontiguousarray(pooled.reshape(pooled.shape[0], -1).T))
    return np.concatenate([last, earlier], axis=1)
