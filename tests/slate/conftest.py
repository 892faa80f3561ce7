"""The made views and walks of tools/bench, for the tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[2] / "tools" / "bench"))

import numpy as np  # noqa: E402
import pytest  # noqa: E402
import slate_views  # noqa: E402


@pytest.fixture(scope="session")
def wood() -> np.ndarray:
    """The face of a ledger for made views."""
    return slate_views.wood_texture(np.random.default_rng(1))
