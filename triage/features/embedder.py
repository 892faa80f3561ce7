"""One photo to its vectors: one decode, the whole at two sizes, and the cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.features.backbone import Backbone, cell_view_px, square_view_px
from triage.features.pooling import whole_vector
from triage.features.projection import load_projection
from triage.features.vectors import PhotoVectors
from triage.imaging import open_upright
from triage.imaging.decode import UprightImage, resample

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from triage.features.vectors import Recipe


@dataclass(frozen=True, eq=False)
class Views:
    """The pictures that the network sees of one photo.

    Attributes
    ----------
    whole : one (S, S, 3) uint8 picture for each of the recipe's views; small photos repeat one.
    cells : (H, W, 3) uint8, H and W multiples of 32, the photo's shape kept.
    """

    whole: list[NDArray[np.uint8]]
    cells: NDArray[np.uint8]


def make_views(image: UprightImage, recipe: Recipe) -> Views:
    """Resize the decoded photo once for the cells, and that picture for the whole views."""
    width, height = cell_view_px(recipe.cell_long_side_px, image.full_width, image.full_height)
    cells = resample(image.rgb, width, height)
    sides = [square_view_px(side, image.full_width, image.full_height) for side in recipe.views]
    return Views([resample(cells, side, side) for side in sides], cells)


class Embedder:
    """Runs one recipe. Safe to share between threads; each call uses ``threads`` threads inside the network.

    Raises
    ------
    Damaged
        when a shipped model is not the one that the recipe names.
    """

    def __init__(self, recipe: Recipe, threads: int = 1) -> None:
        self.recipe = recipe
        self._backbone = Backbone(recipe.backbone, threads)
        self._projection = load_projection(recipe.projection)

    def embed(self, source: str | Path | bytes) -> PhotoVectors:
        """Return the vectors of one photo.

        Raises
        ------
        BadPhoto
            when the file is not a readable photo.
        """
        return self.embed_image(open_upright(source, self.recipe.cell_long_side_px, exact=False))

    def embed_image(self, image: UprightImage) -> PhotoVectors:
        """Return the vectors of a photo that is already decoded at ``recipe.cell_long_side_px`` or more."""
        views = make_views(image, self.recipe)
        seen: dict[int, tuple[NDArray[np.float32], NDArray[np.float32]]] = {}
        for picture in views.whole:
            if picture.shape[0] not in seen:
                seen[picture.shape[0]] = self._backbone.maps(picture)
        cells = self._backbone.maps(views.cells)
        whole = whole_vector([seen[picture.shape[0]] for picture in views.whole], cells)
        return PhotoVectors(
            whole=whole.astype(np.float16).astype(np.float32),
            cells=self._projection.cells(*cells),
            cell_scale=self._projection.scale,
            cell_offset=self._projection.offset,
            recipe_sha=self.recipe.sha,
        )
