"""Small real photos, and one embedder for all tests of the room."""

from __future__ import annotations

import pytest
import skimage.data
from embed_photos import jpeg

from triage.features import Embedder, default_recipe


@pytest.fixture(scope="session")
def embedder() -> Embedder:
    return Embedder(default_recipe())


@pytest.fixture(scope="session")
def photos() -> dict[str, bytes]:
    """Three small real photos that scikit-image ships."""
    return {name: jpeg(getattr(skimage.data, name)(), 160) for name in ("coffee", "chelsea", "astronaut")}
