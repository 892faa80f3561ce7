"""What is known about a model's order and about its level, apart: one may be right where the other is not.

The order: of all pairs of a photo that shows the tag and one that does not, how many stand the right way
round on decks that were left out (ROC-AUC). The level: whether a probability of .3 means three in ten.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from triage.domain.plurals import count_of
from triage.train.calibrate import PLATT_FROM
from triage.train.measures import LEAST_DECKS, SAME

if TYPE_CHECKING:
    from triage.train.types import TagModel


def order_words(model: TagModel) -> str:
    """Return one sentence on how far the order of photos can be relied on."""
    right = model.figures.roc_auc
    if right is None:
        return "Nothing is known about its order: no deck with it could be left out."
    said = f"Of pairs of a photo with it and one without, {right:.0%} were in order on decks left out"
    low, high = model.figures.roc_auc_low, model.figures.roc_auc_high
    if model.positive_decks < LEAST_DECKS:
        decks = count_of(model.positive_decks, "deck shows", "decks show")
        return f"{said}; only {decks} it, so no interval is given (below {LEAST_DECKS})."
    if low is None or high is None or high - low < SAME:
        decks = count_of(model.positive_decks, "deck")
        return f"{said}, without a mistake on {decks} that show it: so no interval can be given."
    return f"{said} (95 %: {low:.0%} to {high:.0%})."


def level_words(model: TagModel) -> str:
    """Return one sentence on how far its probabilities can be relied on."""
    if model.bands or model.calibration.kind == "raw":
        photos = count_of(model.present, "photo shows", "photos show")
        return (
            f"Nothing is known about its level: {photos} it, {PLATT_FROM} are needed. Its probabilities put "
            "photos in order and say no more; 'likely' may be empty although the first photos show it."
        )
    error = model.figures.calibration_error
    if error is None:
        return "Its level was fitted, and could not be checked on decks left out."
    return f"Its probabilities are off by {error:.0%} on average on decks left out."


def known(model: TagModel) -> dict[str, str]:
    """Return both sentences by name, for `card --json` and `presort --json`."""
    return {"order": order_words(model), "level": level_words(model)}
