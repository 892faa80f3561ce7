"""Cells of a photo as training rows, and the photo's score as the mean of its six highest cells.

A cell is read beside the mean of the 3 x 3 cells around it (average precision .003 to .021 higher on sawn
boards than the cell alone). Nothing more is kept for that: the mean commutes with a linear score, so a photo
is scored by two products a cell and one mean over the scores, and only the cells that are trained on are
written out.

A defect is in one place of a photo. Where a person drew a box or a point, the cells there are the positives
and cells away from it are negatives; where nobody did, a photo is a bag that holds a positive somewhere
(multiple-instance learning, Andrews, Tsochantaridis, Hofmann, NIPS 2002, 'mi' form: the cells that the
present model likes best stand for the bag, in turns with fitting).
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING

import numpy as np

from triage.train.table import draw

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.features.vectors import PhotoVectors
    from triage.train.types import Box, Floats, Floats32, VectorsOf

HIGHEST = 6
"""Cells whose mean is the photo's score (measured best of 1 to 12 on sawn boards)."""
NEGATIVES_A_PHOTO = 60
"""Cells away from any box that a photo gives as negatives."""


class Shelf:
    """Photos' vectors by hash, the latest kept up to a number of bytes and loaded again beyond it."""

    def __init__(self, vectors_of: VectorsOf, most_bytes: int = 700_000_000) -> None:
        self._vectors_of = vectors_of
        self._room = most_bytes
        self._kept: OrderedDict[str, PhotoVectors] = OrderedDict()
        self._bytes = 0
        self._lock = Lock()

    def __call__(self, sha: str) -> PhotoVectors:
        """The vectors of one photo; several threads may ask."""
        with self._lock:
            return self._get(sha)

    def _get(self, sha: str) -> PhotoVectors:
        if sha in self._kept:
            self._kept.move_to_end(sha)
            return self._kept[sha]
        vectors = self._vectors_of(sha)
        self._kept[sha] = vectors
        self._bytes += _bytes(vectors)
        while self._bytes > self._room and len(self._kept) > 1:
            self._bytes -= _bytes(self._kept.popitem(last=False)[1])
        return vectors


def _bytes(vectors: PhotoVectors) -> int:
    return int(vectors.cells.nbytes + vectors.whole.nbytes)


def inside(boxes: Sequence[Box], cells: Floats32) -> NDArray[np.bool_]:
    """Which cells lie in a box: (n_cells,) for cells (n_cells, 4).

    A cell lies in a box when its center does; a box that holds no center, and a point, mark the cell that
    holds the box's own center.
    """
    marked = np.zeros(len(cells), bool)
    centers = cells[:, :2] + cells[:, 2:] / 2
    for x, y, width, height in boxes:
        here = (
            (centers[:, 0] >= x)
            & (centers[:, 0] <= x + width)
            & (centers[:, 1] >= y)
            & (centers[:, 1] <= y + height)
        )
        if not here.any() and len(cells):
            off = np.abs(centers - (x + width / 2, y + height / 2)) / cells[:, 2:]
            here[int(np.argmin(off.max(axis=1)))] = True
        marked |= here
    return marked


def near(boxes: Sequence[Box], cells: Floats32) -> NDArray[np.bool_]:
    """Which cells touch a box or lie within one cell of it: they are neither positives nor negatives."""
    close = np.zeros(len(cells), bool)
    for x, y, width, height in boxes:
        close |= (
            (cells[:, 0] <= x + width + cells[:, 2])
            & (cells[:, 0] + 2 * cells[:, 2] >= x)
            & (cells[:, 1] <= y + height + cells[:, 3])
            & (cells[:, 1] + 2 * cells[:, 3] >= y)
        )
    return close


def ranked_cells(sha: str, allowed: NDArray[np.bool_], most: int, seed: int) -> NDArray[np.intp]:
    """At most `most` of the allowed cells in an order drawn by the photo's hash, the same in every model."""
    order = np.random.default_rng(draw(seed, "cells", sha)).permutation(len(allowed))
    return np.asarray(order[allowed[order]][:most])


def top_mean(scores: Floats | Floats32, highest: int = HIGHEST) -> Floats:
    """Mean of the highest cells: (..., n_cells) to (...); of all where there are fewer."""
    count = scores.shape[-1]
    if count <= highest:
        return np.asarray(scores.mean(axis=-1))
    return np.asarray(np.partition(scores, count - highest, axis=-1)[..., count - highest :].mean(axis=-1))


@lru_cache(maxsize=64)
def around(grid: tuple[int, int]) -> NDArray[np.intp]:
    """The 3 x 3 cells around each cell, (rows * cols, 9), those beyond the edge being the edge's own."""
    rows, cols = grid
    y, x = np.divmod(np.arange(rows * cols), max(1, cols))
    steps = [
        np.clip(y + down, 0, rows - 1) * cols + np.clip(x + right, 0, cols - 1)
        for down in (-1, 0, 1)
        for right in (-1, 0, 1)
    ]
    return np.stack(steps, axis=1)


def with_neighbors(
    cells: NDArray[np.float32] | NDArray[np.uint8],
    grid: tuple[int, int],
    places: NDArray[np.intp] | None = None,
) -> Floats32:
    """Cells (rows * cols, C) beside the mean of the cells around them: (k, 2 C), of all cells or of some."""
    near_by = around(grid) if places is None else around(grid)[places]
    own = cells if places is None else cells[places]
    beside = cells[near_by].mean(axis=1, dtype=np.float32)
    return np.concatenate([own.astype(np.float32), beside], axis=1)


def cell_rows(vectors: PhotoVectors, places: NDArray[np.intp]) -> Floats32:
    """Some of a photo's cells with their neighbors as numbers, (k, 2 C)."""
    rows = with_neighbors(vectors.cells.reshape(-1, vectors.cells.shape[2]), vectors.grid, places)
    rows *= np.tile(vectors.cell_scale, 2)
    rows += np.tile(vectors.cell_offset, 2)
    return rows


def smooth(maps: Floats32, grid: tuple[int, int]) -> Floats32:
    """Mean over the 3 x 3 cells around each cell: (..., rows * cols) to the same shape."""
    lead, (rows, cols) = maps.shape[:-1], grid
    padded = np.empty((*lead, rows + 2, cols + 2), maps.dtype)
    padded[..., 1:-1, 1:-1] = maps.reshape(*lead, rows, cols)
    padded[..., 0, :], padded[..., -1, :] = padded[..., 1, :], padded[..., -2, :]
    padded[..., 0], padded[..., -1] = padded[..., 1], padded[..., -2]
    down = padded[..., :-2, :] + padded[..., 1:-1, :] + padded[..., 2:, :]
    total = down[..., :-2] + down[..., 1:-1] + down[..., 2:]
    return np.asarray(total.reshape(maps.shape) / 9, maps.dtype)


def linear_maps(rows: Floats32, grid: tuple[int, int], weights: Floats32) -> Floats32:
    """(m, n_cells) linear scores of a photo's cells (n_cells, C) by weights (m, 2 C).

    Weights (m, C) are of a model that was trained on cells alone, and are read so.
    """
    width = rows.shape[1]
    own = weights[:, :width] @ rows.T
    if weights.shape[1] == width:
        return np.asarray(own)
    return np.asarray(own + smooth(weights[:, width:] @ rows.T, grid))


def cell_scores(
    vectors: PhotoVectors, weights: Floats32, bias: Floats, rows: Floats32 | None = None
) -> Floats:
    """(m,) photo scores of m cell models with weights (m, 2 C) and bias (m,); NaN-free, -inf for no cells.

    rows : the photo's cells as numbers, (n_cells, C), where they are at hand already.
    """
    rows = vectors.cells_float() if rows is None else rows
    if len(rows) == 0:
        return np.full(len(bias), -np.inf)
    return top_mean(linear_maps(rows, vectors.grid, weights)) + bias
