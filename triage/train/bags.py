"""Photos without boxes as bags of cells: which cells a model likes best, for many photos at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from triage.train.cells import HIGHEST, around, smooth, with_neighbors

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.cells import Shelf
    from triage.train.types import Floats, Floats32


class Bags:
    """Cells of some photos, those of one grid in one array.

    Parameters
    ----------
    shas : photos of the table; places : which of them are bags.
    """

    def __init__(self, shas: Sequence[str], places: Sequence[int], shelf: Shelf) -> None:
        self.places = tuple(places)
        by_grid: dict[tuple[int, int], list[tuple[int, Floats32]]] = {}
        for place in places:
            vectors = shelf(shas[place])
            by_grid.setdefault(vectors.grid, []).append((place, vectors.cells_float()))
        self._cells: dict[tuple[int, int], Floats32] = {}
        self._at: dict[int, tuple[tuple[int, int], int]] = {}
        for grid, members in by_grid.items():
            self._cells[grid] = np.stack([cells for _, cells in members])
            self._at.update({place: (grid, number) for number, (place, _) in enumerate(members)})

    def count(self, place: int) -> int:
        """Number of cells of one bag."""
        rows, cols = self._at[place][0]
        return rows * cols

    def spread(self, place: int, most: int) -> Floats32:
        """About `most` cells all over one bag with their neighbors, (k, 2 C)."""
        grid, number = self._at[place]
        picked = np.arange(0, self.count(place), -(-self.count(place) // most))
        return with_neighbors(self._cells[grid][number], grid, picked)

    def highest(self, places: Sequence[int], weights: Floats) -> list[Floats32]:
        """The highest cells of each bag, with their neighbors, by weights (2 C,): (at most 6, 2 C) each."""
        found: dict[int, Floats32] = {}
        for grid in dict.fromkeys(self._at[place][0] for place in places):
            members = [place for place in places if self._at[place][0] == grid]
            numbers = np.array([self._at[place][1] for place in members], np.intp)
            found.update(zip(members, self._highest(grid, numbers, weights.astype(np.float32)), strict=True))
        return [found[place] for place in places]

    def _highest(self, grid: tuple[int, int], numbers: NDArray[np.intp], weights: Floats32) -> Floats32:
        """(b, k, 2 C) for some bags of one grid."""
        cells = self._cells[grid]
        bags, count, width = cells.shape
        maps = (cells.reshape(-1, width) @ weights.reshape(2, width).T).reshape(bags, count, 2)[numbers]
        scores = maps[..., 0] + smooth(maps[..., 1], grid)
        top = min(HIGHEST, count)
        picked = np.argpartition(scores, count - top, axis=1)[:, count - top :]
        beside = cells[numbers[:, None, None], around(grid)[picked]].mean(axis=2, dtype=np.float32)
        return np.concatenate([cells[numbers[:, None], picked], beside], axis=2)
