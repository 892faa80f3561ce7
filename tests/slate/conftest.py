"""What the tests of this room share."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulated import slate_views


@pytest.fixture(scope="session")
def wood() -> np.ndarray:
    """The face of a ledger for made views."""
    return slate_views.wood_texture(np.random.default_rng(1))
