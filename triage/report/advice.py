"""What an owner is asked to do, by tier: said once here, and the same in letter, report, plan and screens."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import TYPE_CHECKING

from triage.domain.tiers import TIERS
from triage.report.element_words import named_parts
from triage.report.text import clean, day_words

if TYPE_CHECKING:
    from triage.assess.cache.lines import Line
    from triage.assess.records import Concern, DeckSummary
    from triage.report.firm import Firm
    from triage.report.source import DeckRecord

TODAY = "today"
NO_DATE = "a date to be agreed"

ADVICE: Mapping[str | None, str] = {
    "stop-use": (
        "Stop using this deck today. Nobody on or under it, and the way to it barred, until {parts} {is} "
        "repaired and a named person has lifted the stop."
    ),
    "repair-before-use": "Nobody on or under this deck until {parts} {is} repaired; do it by {due}.",
    "repair-this-season": "Have {parts} repaired this season; do it by {due}.",
    "watch": "No repair is asked for now. Have {parts} looked at again by {due}.",
    "nothing-seen": (
        "Nothing that needs repair was seen in what was photographed. That does not say that the deck is "
        "sound: much of a deck cannot be seen in photos."
    ),
    None: (
        "Not enough was seen or reviewed to say how this deck stands. Until that is done, hold no gatherings "
        "on it and keep out from under it."
    ),
}
"""One sentence a tier: `{parts}` are the parts that the findings of this tier are about."""
BARRED = TIERS[:2]
"""Tiers that keep everybody off and out from under a deck."""
PARTS_UNNAMED = "what is named below"
MOST_PARTS = 3


def advice_tier(summary: DeckSummary | Line) -> str | None:
    """Return the tier behind the advice: a person's own where it is worse than the computed one."""
    return summary.shown_tier


def advice(summary: DeckSummary, due: str, element_of: Mapping[str, str]) -> str:
    """Return what to do with a deck, naming the parts and the date."""
    tier = advice_tier(summary)
    parts, many = _parts(told(summary), tier, element_of)
    return ADVICE[tier].format(parts=parts, due=due or NO_DATE, **{"is": "are" if many else "is"})


def told(summary: DeckSummary) -> list[Concern]:
    """Return the open concerns that paper tells of: those of persons, facts and checks."""
    return [one for one in summary.concerns if one.standing != "possible" and one.status != "repaired"]


def _parts(concerns: Iterable[Concern], tier: str | None, element_of: Mapping[str, str]) -> tuple[str, bool]:
    """Return the parts that the concerns of a tier are about, and whether they are several.

    Before anybody is on a deck again, all that is stopped or to be repaired before use is repaired.
    """
    from triage.report.repairs_list import element_of_concern

    elements: list[str] = []
    tiers = (*BARRED, tier) if tier in BARRED else (tier,)
    for one in sorted(concerns, key=lambda each: TIERS.index(each.tier)):
        element = element_of_concern(one, element_of)
        if one.tier in tiers and element and element not in elements:
            elements.append(element)
    if not elements or "whole-deck" in elements:
        return PARTS_UNNAMED, False
    more = len(elements) > MOST_PARTS
    return named_parts(elements[:MOST_PARTS], more=more)


def due_date(summary: DeckSummary, record: DeckRecord, firm: Firm) -> str:
    """Return by when: the date set for the deck, else the firm's days from the visit, else nothing.

    A stop-use is due today, whatever date was set.
    """
    tier = advice_tier(summary)
    if tier == "stop-use":
        return TODAY
    if record.private.get("due"):
        return day_words(clean(record.private["due"]))
    return due_of_tier(tier, summary, firm)


def due_of_tier(tier: str | None, summary: DeckSummary, firm: Firm) -> str:
    """Return the firm's date for a tier, counted from the visit; empty where it has none."""
    days = firm.due_days.get(tier or "")
    if days is None or not summary.visit:
        return ""
    try:
        return day_words((date.fromisoformat(summary.visit) + timedelta(days=days)).isoformat())
    except (ValueError, OverflowError):
        return ""


def needs_work(tier: str | None) -> bool:
    """Whether a tier asks for a repair."""
    return tier in TIERS[:3]
