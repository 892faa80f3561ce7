"""What a person is told right after an act: who else spoke, and what it did to the deck."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from triage.report.changes import assessment_changes
from triage.report.phrases import GAP_WORDS, tag_words, tier_short
from triage.report.text import clean, moment
from triage.web.wording import in_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from triage.assess.records import DeckSummary
    from triage.library.records import Label, Word

VALUE_WORDS = {"present": "yes", "absent": "no", "unclear": "cannot tell"}
_MOST_CHANGES = 3
_WORTH_SAYING = ("the tier", "the gaps")
_COMES_OR_GOES = ("' is new.", "' is gone.")


def others_said(word: Word | None, mine: Label) -> str:
    """Return a sentence on what other people said of the same photo and tag; empty where nobody did."""
    others = [label for label in (word.labels if word else ()) if label.by != mine.by]
    if not others or word is None:
        return ""
    said = "; ".join(
        f"{clean(one.by)} said {VALUE_WORDS[one.value]} ({moment(one.at)[:16]})" for one in others
    )
    if word.disputed:
        return f"{said}. You disagree: both words are kept, as a dispute until somebody settles it."
    if word.settled:
        return f"{said}. It was settled as {VALUE_WORDS[word.value]}; both words are kept."
    return f"{said}. Both words are kept."


def standing_json(
    now: DeckSummary, before: DeckSummary | None, words: Callable[[str], str] = in_words
) -> dict[str, Any]:
    """Return how a deck stands and what changed since, in words; `words` writes keys of tags as words."""
    changes: list[str] = []
    if before is not None and before is not now:
        start = f"Deck {clean(now.deck)}: "
        found = [clean(one).removeprefix(start) for one in assessment_changes([before], [now])]
        changes = [one for one in found if one.startswith(_WORTH_SAYING) or one.endswith(_COMES_OR_GOES)]
    more = len(changes) - _MOST_CHANGES
    return {
        "deck": now.deck,
        "tier": tier_short(now.shown_tier),
        "if_true": tier_short(now.tier_if_true),
        "gaps": GAP_WORDS[now.gaps],
        "unreviewed": now.unreviewed,
        "changes": [words(one) for one in changes[:_MOST_CHANGES]]
        + ([f"and {more} more changes"] if more > 0 else []),
    }


def took_back(events: Iterable[Any]) -> str:
    """Return a sentence on what an undo took back."""
    found = list(events)
    kinds = {event.kind for event in found}
    if kinds == {"label"}:
        if len(found) == 1:
            payload = found[0].payload
            return f"Took back: {tag_words(payload['tag'])}: {VALUE_WORDS[payload['value']]}."
        return f"Took back {len(found)} answers of one act."
    names = {
        "fact": "facts",
        "finding": "a finding",
        "tier": "a tier",
        "moved": "a move",
        "settled": "a settlement",
        "closed": "a closing",
        "lifted": "a lifting",
        "warned": "a warning",
        "repair-done": "lines of a repair sheet",
        "deck-set": "a private field",
    }
    return f"Took back {', '.join(sorted(names.get(kind, kind) for kind in kinds))}."
