"""Precision and recall of a model at a few thresholds, over decks that were left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from triage.train.calibrate import apply

if TYPE_CHECKING:
    from triage.train.types import TagModel

THRESHOLDS = (0.9, 0.7, 0.5, 0.3, 0.1, 0.05, 0.02)


def operating_points(model: TagModel) -> list[dict[str, Any]]:
    """Return one row per threshold: how many left-out photos reach it, precision and recall.

    Precision is null where no photo reaches the threshold, recall where no photo shows the tag. Definitions
    as in scikit-learn's `precision_score` and `recall_score`, checked against them in the tests.
    """
    rows = list(model.held_out.values())
    if not rows:
        return []
    chance = np.asarray(apply(model.calibration, np.array([row[0] for row in rows])))
    present = np.array([row[1] for row in rows]) > 0.5
    found = []
    for threshold in THRESHOLDS:
        flagged = chance >= threshold
        hits = int((flagged & present).sum())
        found.append(
            {
                "threshold": threshold,
                "flagged": int(flagged.sum()),
                "of": len(rows),
                "precision": hits / int(flagged.sum()) if flagged.any() else None,
                "recall": hits / int(present.sum()) if present.any() else None,
            }
        )
    return found
