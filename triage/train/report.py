"""What `train --json` and the card say of one tag, from its model."""

from __future__ import annotations

from typing import Any

from triage.train.measures import SAME
from triage.train.promise import decks_needed
from triage.train.types import Promise, TagModel, TooFew

_NUMBERS = (
    "average_precision",
    "average_precision_low",
    "average_precision_high",
    "roc_auc",
    "brier",
)


def interval_words(value: float | None, low: float | None, high: float | None, digits: int = 2) -> str:
    """Return the interval behind a figure: '(0.92 to 0.99)', or that there is none as nothing went wrong."""
    if low is not None and high is not None and high - low >= SAME:
        return f"({low:.{digits}f} to {high:.{digits}f})"
    return "(no mistake seen, so no interval)" if value is not None and value >= 1 - SAME else ""


def tag_json(model: TagModel | TooFew, promise_rate: float = 0.05) -> dict[str, Any]:
    """The keys that `train --json` promises for one tag; null where nothing can be said, never NaN."""
    if isinstance(model, TooFew):
        needed = decks_needed(promise_rate)
        promise = Promise(promise_rate, False, None, 0, needed, f"No model: {model.why}.")
        return {
            "present": model.present,
            "absent": model.absent,
            "unclear": model.unclear,
            "decks": model.decks,
            **dict.fromkeys(_NUMBERS),
            "promise": promise.to_json(),
            "missing_present": model.missing_present,
            "missing_absent": model.missing_absent,
            "why_not": model.why,
            "look_alike_decks": [],
            "look_alike_share": 0.0,
        }
    return {
        "present": model.present,
        "absent": model.absent,
        "unclear": model.unclear,
        "decks": model.decks,
        **{name: getattr(model.figures, name) for name in _NUMBERS},
        "promise": model.promise.to_json(),
        "missing_present": 0,
        "missing_absent": 0,
        "why_not": None,
        "look_alike_decks": model.facts.get("look_alike_decks", []),
        "look_alike_share": model.facts.get("look_alike_share", 0.0),
    }
