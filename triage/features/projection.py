"""The frozen projection of cells to a few 8-bit numbers; shipped, never fitted on a user's photos."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.errors import Damaged
from triage.features.models import read_checked
from triage.features.pooling import TINY, column_lengths, pool_to_grid

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Projection:
    """Center, rotate, quantize: ``round((cell @ matrix - shift - offset) / scale)`` as uint8.

    Attributes
    ----------
    turned : (C, inputs) float32, the components as rows; shift : (C,) float32, the projected mean.
    scale, offset : (C,) float32, frozen with the projection.
    sha : SHA-256 of the file, part of the recipe's hash.
    """

    turned: NDArray[np.float32]
    shift: NDArray[np.float32]
    scale: NDArray[np.float32]
    offset: NDArray[np.float32]
    sha: str

    def quantize(self, projected: NDArray[np.float32]) -> NDArray[np.uint8]:
        """Return (n, C) uint8 of (C, n) projected cells, not yet centered."""
        steps = (projected - (self.shift + self.offset)[:, None]) / self.scale[:, None]
        np.rint(steps, out=steps)
        np.clip(steps, 0, 255, out=steps)
        return np.ascontiguousarray(steps.astype(np.uint8).T)

    def cells(self, last_map: NDArray[np.float32], earlier_map: NDArray[np.float32]) -> NDArray[np.uint8]:
        """Return (rows, cols, C) uint8 cells of both maps.

        The same as quantizing both maps' cells side by side times the matrix, without joining the cells.
        """
        channels, rows, cols = last_map.shape
        last = last_map.reshape(channels, -1)
        earlier = pool_to_grid(earlier_map).reshape(earlier_map.shape[0], -1)
        projected = self.turned[:, :channels] @ last
        projected /= np.maximum(column_lengths(last), TINY)
        second = self.turned[:, channels:] @ earlier
        second /= np.maximum(column_lengths(earlier), TINY)
        projected += second
        return self.quantize(projected).reshape(rows, cols, -1)


def load_projection(name: str, folder: Path | None = None) -> Projection:
    """Load a shipped projection; its hash is checked against its card.

    Raises
    ------
    Damaged
        when the file is missing, altered, or no projection.
    """
    data, digest = read_checked(name, folder)
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
            mean, matrix = arrays["mean"], arrays["matrix"]
            turned = np.ascontiguousarray(matrix.T)
            return Projection(turned, turned @ mean, arrays["scale"], arrays["offset"], digest)
    except (ValueError, KeyError, OSError) as error:
        raise Damaged(f"The shipped projection {name} is damaged.") from error
