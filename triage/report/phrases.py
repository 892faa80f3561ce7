"""The words of the report: how tiers, standings, gaps and states are said in plain language."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from triage.domain.tiers import NOT_ENOUGH, TIER_WORDS, TIERS
from triage.report.text import and_list, count_of

STANDING_WORDS: dict[str, str] = {
    "verified-on-site": "verified on site (probed or measured)",
    "seen-by-person": "seen by a person in a photo",
    "calculated": "calculated from the facts of the deck",
    "possible": "possible: the machine suggests it and no person has confirmed it",
    "disputed": "disputed: people disagree; counted as the worse until settled",
}

SAID_WITHOUT_PHOTO = "said by a person as a fact or a finding, without a photo"

STATUS_WORDS: dict[str, str] = {
    "new": "new at this visit",
    "still-there": "still there",
    "looked-at-again": "answered absent on a later photo; it stays open until a person closes it",
    "withdrawn": "an answer or a fact that it rested on was changed; nobody closed it",
    "not-looked-at-again": "not looked at again since an earlier visit; it stays open",
    "repaired": "repaired, closed by a named person",
}

KIND_WORDS: dict[str, str] = {
    "hazard": "hazard",
    "departs-from-today": "departs from today's code; may have been allowed when built",
}

MAYBE_ALLOWED = "It may have been allowed when the deck was built."

GAP_WORDS: dict[str, str] = {
    "none": "no gaps",
    "some": "some gaps",
    "serious": "serious gaps",
}

AT_FINDING = "at-finding"
"""A part that nobody marked as shown, on the photo of a finding."""

SEEN_WORDS: dict[str, str] = {
    "well": "seen well",
    "poorly": "seen poorly",
    AT_FINDING: "seen only where something was found",
    "not-seen": "not seen",
    "concealed": "concealed: cannot be seen without opening",
}

VERDICT_WORDS: dict[str, str] = {"within": "within", "over": "over", "cannot-say": "cannot say"}

SHORT_TIER: dict[str, str] = {
    "stop-use": "stop use",
    "repair-before-use": "repair before use",
    "repair-this-season": "repair this season",
    "watch": "watch",
    "nothing-seen": "nothing seen",
}

DRAFT_LINE = "DRAFT: not everything was looked at by a person"

CAUTIONS: tuple[str, ...] = (
    "What was not photographed is not known to be sound. 'Not seen' never means 'fine'.",
    "A tier speaks of what was seen, said and calculated, not of the chance of a collapse.",
    "An engineer is always needed for: a gap or rotation at the ledger, decay of the house band, a house "
    "cantilever or bay, veneer, open-web floors, a hot tub or a roof on the deck, two stories, fire, and "
    "anything outside a published table.",
    "Times under photos are the camera's own clock, which nobody has checked.",
    "A name beside a word is what the person gave; it is a claim, not a proof of identity.",
)


def tier_words(tier: str | None) -> str:
    """Return how a tier prints, in full."""
    return NOT_ENOUGH if tier is None else TIER_WORDS[tier]


def tier_short(tier: str | None) -> str:
    """Return how a tier prints in a table."""
    return NOT_ENOUGH if tier is None else SHORT_TIER[tier]


def tag_words(tag: str | None) -> str:
    """Return a tag as words: `missing-hanger` is 'missing hanger'."""
    return (tag or "").replace("-", " ")


def tier_counts(tiers: Iterable[str | None]) -> str:
    """Return '1 deck: stop use; 2 decks: watch' for the decks of a report, worst first."""
    given = list(tiers)
    order: tuple[str | None, ...] = (*TIERS[:-1], None, TIERS[-1])
    parts = [
        f"{count_of(given.count(tier), 'deck')}: {tier_short(tier)}" for tier in order if given.count(tier)
    ]
    return "; ".join(parts)


def gap_sentence(gaps: str, by_state: Mapping[str, Iterable[str]]) -> str:
    """Return the gaps of a deck in one sentence, naming the elements of each state."""
    parts = []
    for state in ("not-seen", AT_FINDING, "poorly", "concealed"):
        words = SEEN_WORDS[state].partition(":")[0]
        names = [tag_words(one) for one in by_state.get(state, ())]
        if names:
            parts.append(f"{and_list(names)} {words}")
    head = GAP_WORDS.get(gaps, gaps)
    return f"{head}: {'; '.join(parts)}" if parts else head
