"""What the frozen network says about one photo: the recipe that made it and the numbers themselves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Recipe:
    """How vectors are made; two photos may be compared only when their recipes' ``sha`` agree.

    Attributes
    ----------
    sha : hex SHA-256 over the backbone, the views, the cell geometry, the projection and its scales.
    backbone : file name of the network in the models folder, as ``efficientnet-lite0.onnx``.
    views : sides in pixels of the square whole-photo views, ascending; none is ever an enlargement.
    projection : file name of the frozen cell projection in the models folder.
    cell_long_side_px : long side of the picture that the cells are read from; at most twice the native.
    whole_dim : length D of ``PhotoVectors.whole``.
    whole_blocks : lengths of the unit-length blocks of ``whole``, in order; their sum is ``whole_dim``.
    cell_dim : numbers kept per cell, C.
    """

    sha: str
    backbone: str
    views: tuple[int, ...]
    projection: str
    cell_long_side_px: int
    whole_dim: int
    whole_blocks: tuple[int, ...]
    cell_dim: int


@dataclass(frozen=True, eq=False)
class PhotoVectors:
    """The vectors of one upright photo.

    Attributes
    ----------
    whole : (D,) float32, blocks of unit Euclidean length.
    cells : (rows, cols, C) uint8, the projected feature of each cell, quantized.
    cell_scale, cell_offset : (C,) float32; a cell's value is ``cell_offset + cell_scale * cells``.
    recipe_sha : the recipe that made it.
    """

    whole: NDArray[np.float32]
    cells: NDArray[np.uint8]
    cell_scale: NDArray[np.float32]
    cell_offset: NDArray[np.float32]
    recipe_sha: str

    @property
    def grid(self) -> tuple[int, int]:
        """(rows, cols) of the cells over the upright photo."""
        return self.cells.shape[0], self.cells.shape[1]

    def cells_float(self) -> NDArray[np.float32]:
        """(rows * cols, C) float32, row by row from the top left."""
        flat = self.cells.reshape(-1, self.cells.shape[2]).astype(np.float32)
        flat *= self.cell_scale
        flat += self.cell_offset
        return flat

    def cell_boxes(self) -> NDArray[np.float32]:
        """(rows * cols, 4) x, y, width, height of the cells as fractions of the upright photo, tiling it."""
        rows, cols = self.grid
        y, x = np.mgrid[0:rows, 0:cols]
        boxes = np.empty((rows * cols, 4), np.float32)
        boxes[:, 0] = x.ravel() / cols
        boxes[:, 1] = y.ravel() / rows
        boxes[:, 2] = 1 / cols
        boxes[:, 3] = 1 / rows
        return boxes
