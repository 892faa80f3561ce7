"""The frozen projection of cells to a few 8-bit numbers; shipped, never fitted on a user's photos."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.embed.models import read_checked
from triage.errors import Damaged

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Projection:
    """Centre, rotate, quantise: ``round((cell @ matrix - shift - offset) / scale)`` as uint8.

    Attributes
    ----------
    matrix : (inputs, C) float32; shift : (C,) float32, the projected mean.
    scale, offset : (C,) float32, frozen with the projection.
    sha : SHA-256 of the file, part of the recipe's hash.
    """

    matrix: NDArray[np.float32]
    shift: NDArray[np.float32]
    scale: NDArray[np.float32]
    offset: NDArray[np.float32]
    sha: str

    def quantise(self, cells: NDArray[np.float32]) -> NDArray[np.uint8]:
        """Return (n, C) uint8 of (n, inputs) float32 cells."""
        projected = cells @ self.matrix
        projected -= self.shift + self.offset
        projected /= self.scale
        np.rint(projected, out=projected)
        np.clip(projected, 0, 255, out=projected)
        return projected.astype(np.uint8)


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
            return Projection(matrix, mean @ matrix, arrays["scale"], arrays["offset"], digest)
    except (ValueError, KeyError, OSError) as error:
        raise Damaged(f"The shipped projection {name} is damaged.") from error
