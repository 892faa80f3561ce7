"""The new model against the one in use, on the same left-out decks: better, same or worse.

Decks keep their folds from one training to the next, so both models score every labelled photo by a fold
model that never saw its deck; a deck that is new is unseen by the whole old model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.train.measures import average_precision, deck_weights, interval
from triage.train.scoring import blended

if TYPE_CHECKING:
    from triage.train.types import TagModel, VectorsOf

LEAST_POSITIVE_DECKS = 5


@dataclass(frozen=True)
class Compared:
    """One tag's comparison: `verdict` is better, same or worse; the difference is new minus old."""

    tag: str
    verdict: str
    old: float
    new: float
    low: float | None
    high: float | None

    def to_json(self) -> dict[str, float | str | None]:
        """Return plain values."""
        return {"verdict": self.verdict, "old": self.old, "new": self.new, "low": self.low, "high": self.high}


def compare_models(
    old: TagModel, new: TagModel, decks: Mapping[str, str], vectors_of: VectorsOf, seed: int = 0
) -> Compared | None:
    """Compare two models of a tag by average precision on the photos that the new one held out.

    Parameters
    ----------
    decks : photo to deck.
    vectors_of : photo to vectors.

    Returns None where the old model reads vectors of another recipe or kept no fold models. The verdict is
    `same` unless the 95 % interval of the difference, by bootstrap over decks, leaves out zero; with fewer
    than five decks that have the defect it is always `same`.
    """
    if old.recipe_sha != new.recipe_sha or old.fold_models is None:
        return None
    shas = [sha for sha in new.held_out if sha in decks]
    labels = np.array([new.held_out[sha][1] for sha in shas])
    if not labels.any() or labels.all():
        return None
    new_scores = np.array([new.held_out[sha][0] for sha in shas])
    old_scores = np.array([_old_score(old, decks[sha], vectors_of(sha)) for sha in shas])
    before = float(average_precision(old_scores, labels))
    after = float(average_precision(new_scores, labels))
    names = [decks[sha] for sha in shas]
    low = high = None
    if len({name for name, label in zip(names, labels, strict=True) if label}) >= LEAST_POSITIVE_DECKS:
        weights = deck_weights(names, seed)
        now = average_precision(new_scores, labels, weights)
        change = now - average_precision(old_scores, labels, weights)
        low, high = interval(change)
    verdict = "same"
    if low is not None and high is not None and (low > 0 or high < 0):
        verdict = "better" if low > 0 else "worse"
    return Compared(new.tag, verdict, before, after, low, high)


def _old_score(old: TagModel, deck: str, vectors: object) -> float:
    assert old.fold_models is not None  # noqa: S101 - compare_models looked
    if deck in old.folds:
        models = old.fold_models
        return float(blended(models.whole, models.cells, models.blend, vectors)[old.folds[deck]])  # type: ignore[arg-type]
    return float(blended(old.whole, old.cells, np.array([old.blend]), vectors)[0])  # type: ignore[arg-type]
