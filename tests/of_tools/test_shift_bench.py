"""The bench of batches unlike the training decks, measured small."""

import numpy as np
import pytest

from tools.bench.shift import reduced, withdrawn
from triage.presort.shift import LEVEL


def test_the_bench_counts_ordinary_and_foreign_batches():
    """A rotation changes no distance; ordinary decks are withdrawn rarely, those of another kind always."""
    draw = np.random.default_rng(6)
    ordinary, foreign = draw.normal(size=(60, 90)), draw.normal(size=(30, 90)) + 2
    apart = np.linalg.norm(ordinary[0] - foreign[0])
    ordinary, foreign = reduced(ordinary, foreign)
    assert np.linalg.norm(ordinary[0] - foreign[0]) == pytest.approx(apart)
    for batch in (1, 5):
        false = withdrawn(ordinary, 40, batch, 400)
        assert false <= LEVEL + 0.044  # four standard errors
        assert withdrawn(ordinary, 40, batch, 40, others=foreign) == 1.0
