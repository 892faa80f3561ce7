"""The recipes that deck-triage knows, each named by a hash over everything that changes its numbers."""

from __future__ import annotations

import json
from functools import cache
from hashlib import sha256

from triage.features.models import read_card
from triage.features.vectors import Recipe

GEOMETRY_VERSION = 3  # raised whenever decoding, resizing, pooling or rounding changes a number
CELL_LONG_SIDE_PX = 1344
VIEWS_PX = (224, 448)
BLOCKS = (1280, 1280, 1280, 672, 672)
"""See `triage.features.pooling.whole_vector`."""


def make_recipe(
    backbone: str = "efficientnet-lite0-adapted-int8.onnx",
    projection: str = "cell-projection-adapted-int8.npz",
    views: tuple[int, ...] = VIEWS_PX,
    cell_long_side_px: int = CELL_LONG_SIDE_PX,
) -> Recipe:
    """Return the recipe with its hash; reads the two cards, not the models.

    Raises
    ------
    Damaged
        when a card is missing.
    """
    cards = [read_card(backbone), read_card(projection)]
    parts = {
        "geometry": GEOMETRY_VERSION,
        "backbone": cards[0]["sha256"],
        "projection": cards[1]["sha256"],
        "views": list(views),
        "cell_long_side_px": cell_long_side_px,
    }
    return Recipe(
        sha=sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest(),
        backbone=backbone,
        views=views,
        projection=projection,
        cell_long_side_px=cell_long_side_px,
        whole_dim=sum(BLOCKS),
        whole_blocks=BLOCKS,
        cell_dim=int(cards[1]["cell_dim"]),
    )


@cache
def default_recipe() -> Recipe:
    """Return the recipe that new libraries use."""
    return make_recipe()
