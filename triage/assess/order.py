"""The order of decks, worst first, with a breakdown that adds up.

First by `tier_if_true` (serious gaps with nothing worse than `watch` stand between `repair-this-season` and
`watch`; null above `nothing-seen`), then by `tier`, then by a score whose parts are shown. A person's tier
that is worse than the computed one counts for the order; a milder one moves nothing down.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from triage.assess.records import Concern, DeckSummary, Seen
from triage.assess.rules import TIER_WEIGHT
from triage.domain.tiers import NOT_ENOUGH, tier_rank

_RANKS = (
    "stop-use",
    "repair-before-use",
    "repair-this-season",
    "serious gaps",
    "watch",
    None,
    "nothing-seen",
)
_KNEE_FT = 8.0
_GAP = 2.0
_SMALL_GAP = 0.25


def rank(summaries: Iterable[DeckSummary]) -> list[DeckSummary]:
    """Return the decks worst first; equal ones by name."""
    return sorted(summaries, key=order_key)


def order_key(summary: DeckSummary) -> tuple[Any, ...]:
    """Return the key that sorts decks, worst first."""
    return sort_key(place_in_order(summary), tier_rank(summary.tier), summary.score, summary.deck)


def sort_key(step: int, tier_step: int, score: float, deck: str) -> tuple[Any, ...]:
    """Return the key that sorts decks, worst first, from what the cache keeps of a deck."""
    return (step, tier_step, -round(score, 9), deck)


def place_in_order(summary: DeckSummary) -> int:
    """Return the deck's step in the order, 0 for the worst."""
    tier = summary.tier_if_true
    person = summary.tier_by_person
    if person is not None and tier_rank(person.tier) < tier_rank(tier):
        tier = person.tier
    step = _RANKS.index(tier)
    return min(step, _RANKS.index("serious gaps")) if summary.gaps == "serious" else step


def score_parts(
    concerns: Sequence[Concern],
    seen: Sequence[Seen],
    serious: set[str],
    height_ft: float | None,
    open_share: float,
) -> dict[str, float]:
    """Return the parts of the score by name; they add up to it.

    Every open concern weighs by its tier (a guess by its combined probability too), every element not seen
    well by what hangs on it and by the height of the deck, and the share of photo x core tag pairs that
    nobody has answered 'absent' adds at most 1.
    """
    parts: dict[str, float] = {}
    for concern in concerns:
        if concern.is_open and concern.tier in TIER_WEIGHT:
            name = f"concern {concern.rule}" + (f" at {concern.place}" if concern.place else "")
            guess = concern.standing == "possible" and concern.chance is not None
            weight = TIER_WEIGHT[concern.tier] * (concern.chance or 0.0 if guess else 1.0)
            parts[name] = parts.get(name, 0.0) + weight
    height = 1 + min(height_ft if height_ft is not None else _KNEE_FT, 2 * _KNEE_FT) / _KNEE_FT
    for one in seen:
        if one.seen != "well":
            weight = _GAP * height if one.element in serious else _SMALL_GAP
            parts[f"{one.seen} {one.element}"] = weight * (0.5 if one.seen == "poorly" else 1.0)
    if open_share:
        parts["not answered absent"] = open_share
    return parts


def reason(summary: DeckSummary) -> str:
    """Return one sentence that says why the deck stands where it does."""
    step = _RANKS[place_in_order(summary)]
    person = summary.tier_by_person
    if person is not None and tier_rank(person.tier) < tier_rank(summary.tier_if_true):
        return f"{person.by} put it at '{person.tier}': {person.why.rstrip('.')}."
    short = [one.element.replace("-", " ") for one in summary.coverage if one.seen != "well"]
    if step == "serious gaps":
        known = "Nothing worse than 'watch' is known, but what holds the deck up was not seen well"
        return f"{known}: {_list(short)}."
    leading = [c for c in summary.concerns if c.is_open and c.tier == summary.tier_if_true]
    if leading:
        first = leading[0]
        more = f" ({len(leading) - 1} more of this tier)" if len(leading) > 1 else ""
        guess = (
            " This is the machine's suggestion; nobody has confirmed it."
            if first.standing == "possible"
            else ""
        )
        return f"{first.concluded.rstrip('.')}{more}.{guess}"
    if summary.tier is None:
        return f"{NOT_ENOUGH.capitalize()}: {_barred(summary.unreviewed, short)}."
    return "Everything the deck needs was seen well, every answer is in, and nothing was found."


def _barred(unreviewed: int, short: Sequence[str]) -> str:
    parts = [f"{unreviewed} answers are missing"] if unreviewed else []
    parts += [f"not seen well: {_list(short)}"] if short else []
    return "; ".join(parts) or "no photo was looked at"


def _list(names: Sequence[str]) -> str:
    return ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else "".join(names)


def breakdown(summary: DeckSummary) -> Mapping[str, float]:
    """Return the parts of the score, heaviest first."""
    return dict(sorted(summary.score_parts.items(), key=lambda part: (-part[1], part[0])))
