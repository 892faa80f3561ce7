"""What decks that share look-alike photos mean for a trained model: its folds, its card, its promise."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from triage.library.look_alikes import DeckGroups
    from triage.train.types import TagModel

MOST_LOOK_ALIKE = 0.10
"""Share of a tag's answered photos that may look like a photo of another deck before nothing is promised.
Decks that share look-alikes are one deck, so those that were found do no harm; but where one photo in ten was
sent twice, others that were cropped or turned will have been sent twice too, and no hash finds them (our own
limit: no practice is known)."""


def with_groups(model: TagModel, groups: DeckGroups) -> TagModel:
    """Return the model with a fold for every deck of a group, and without a promise where too many are alike.

    `facts` says which decks were taken as one (`look_alike_decks`) and the share of the answered photos that
    look like a photo of another deck (`look_alike_share`, 0 to 1).
    """
    here = [decks for decks in groups.members() if decks[0] in model.folds]
    folds = {**model.folds, **{deck: model.folds[decks[0]] for decks in here for deck in decks}}
    share = sum(sha in groups.photos for sha in model.held_out) / max(1, len(model.held_out))
    facts = {**model.facts, "look_alike_decks": here, "look_alike_share": share}
    promise = model.promise
    if promise.holds and share > MOST_LOOK_ALIKE:
        promise = replace(promise, holds=False, threshold=None, spared=None, why_not=too_many_alike(share))
    return replace(model, folds=folds, facts=facts, promise=promise)


def too_many_alike(share: float) -> str:
    """Why nothing is promised where many photos were sent twice."""
    return (
        f"{share:.0%} of the answered photos look like a photo of another deck, and above "
        f"{MOST_LOOK_ALIKE:.0%} nothing is promised: remove what was sent twice, or put it under one deck."
    )
