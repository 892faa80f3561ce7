"""The new model against the one in use, on the same left-out decks: better, same or worse.

Decks keep their folds from one training to the next, so both models score every labeled photo by a fold
model that never saw its deck; a deck that is new is unseen by the whole old model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.library.look_alikes import NO_GROUPS, DeckGroups
from triage.train.measures import average_precision, deck_weights, interval
from triage.train.scoring import blended

if TYPE_CHECKING:
    from triage.features.vectors import PhotoVectors
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
    old: TagModel,
    new: TagModel,
    decks: Mapping[str, str],
    vectors_of: VectorsOf,
    seed: int = 0,
    groups: DeckGroups = NO_GROUPS,
) -> Compared | None:
    """Compare two models of a tag by average precision on the photos that the new one held out.

    Parameters
    ----------
    decks : photo to deck.
    vectors_of : photo to vectors.
    groups : decks that share look-alikes; where the old model saw some of a group in other folds, or all of
        it but this deck, its photos are left out of the comparison.

    Returns None where the old model reads vectors of another recipe or kept no fold models. The verdict is
    `same` unless the 95 % interval of the difference, by bootstrap over decks, leaves out zero; with fewer
    than five decks that have the defect it is always `same`.
    """
    if old.recipe_sha != new.recipe_sha or old.fold_models is None:
        return None
    fold_of = _old_folds(old, set(decks.values()), groups)
    shas = [sha for sha in new.held_out if sha in decks and fold_of[decks[sha]] != MIXED]
    labels = np.array([new.held_out[sha][1] for sha in shas])
    if not labels.any() or labels.all():
        return None
    new_scores = np.array([new.held_out[sha][0] for sha in shas])
    old_scores = np.array([_old_score(old, fold_of[decks[sha]], vectors_of(sha)) for sha in shas])
    before = float(average_precision(old_scores, labels))
    after = float(average_precision(new_scores, labels))
    names = [groups.group(decks[sha]) for sha in shas]
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


MIXED = -1
"""Photos that look like this deck's were seen by every model of the old ones."""


def _old_folds(old: TagModel, decks: set[str], groups: DeckGroups) -> dict[str, int | None]:
    """Return by deck the fold of the old model that has not seen it; None where no fold model has."""
    seen: dict[str, set[int]] = {}
    for deck, fold in old.folds.items():
        seen.setdefault(groups.group(deck), set()).add(fold)
    found: dict[str, int | None] = {}
    for deck in decks:
        folds = seen.get(groups.group(deck), set())
        found[deck] = None if not folds else next(iter(folds)) if len(folds) == 1 else MIXED
    return found


def _old_score(old: TagModel, fold: int | None, vectors: PhotoVectors) -> float:
    if fold is not None and old.fold_models is not None:
        models = old.fold_models
        return float(blended(models.whole, models.cells, models.blend, vectors)[fold])
    return float(blended(old.whole, old.cells, np.array([old.blend]), vectors)[0])
