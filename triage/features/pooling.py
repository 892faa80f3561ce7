"""Feature maps to vectors: whole-photo blocks of unit length, and cells of both maps on one grid."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

TINY = np.float32(1e-12)


def unit(vectors: NDArray[np.float32]) -> NDArray[np.float32]:
    """Scale each vector along the last axis to Euclidean length 1; a zero vector stays zero."""
    length = np.sqrt(np.einsum("...i,...i->...", vectors, vectors))[..., None]
    scaled: NDArray[np.float32] = vectors / np.maximum(length, TINY)
    return scaled


def mean_and_max(feature_map: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the mean, scaled to unit length, and the maximum over places of a (channels, rows, cols) map."""
    flat = feature_map.reshape(feature_map.shape[0], -1)
    return unit(flat.mean(axis=1)), flat.max(axis=1)


def whole_vector(
    views: Sequence[tuple[NDArray[np.float32], NDArray[np.float32]]],
    cells: tuple[NDArray[np.float32], NDArray[np.float32]],
) -> NDArray[np.float32]:
    """Return (D,), five blocks of unit length, from the (last, earlier) maps of whole views and of the cells.

    Blocks: mean of the last map, summed over all; its maximum over the whole views; its maximum over the
    cells; mean of the earlier map, summed over the largest view and the cells; its maximum over these two.
    """
    pooled = [mean_and_max(last) for last, _earlier in (*views, cells)]
    textures = [mean_and_max(views[-1][1]), mean_and_max(cells[1])]
    blocks = [
        np.sum([mean for mean, _largest in pooled], axis=0),
        np.max([largest for _mean, largest in pooled[:-1]], axis=0),
        pooled[-1][1],
        np.sum([mean for mean, _largest in textures], axis=0),
        np.max([largest for _mean, largest in textures], axis=0),
    ]
    return np.concatenate([unit(block) for block in blocks]).astype(np.float32, copy=False)


def pool_to_grid(earlier_map: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the largest of each 2 x 2 places: (channels, 2 rows, 2 cols) to (channels, rows, cols)."""
    halves = np.maximum(earlier_map[:, 0::2], earlier_map[:, 1::2])
    pooled: NDArray[np.float32] = np.maximum(halves[:, :, 0::2], halves[:, :, 1::2])
    return pooled


def column_lengths(flat: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the Euclidean length of each column of a (channels, n) map."""
    lengths: NDArray[np.float32] = np.sqrt(np.einsum("ij,ij->j", flat, flat))
    return lengths
