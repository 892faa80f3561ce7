"""Tiers, gaps and what a concern rests on, worst first: the terms of the summary."""

from __future__ import annotations

from collections.abc import Iterable

TIERS: tuple[str, ...] = (
    "stop-use",
    "repair-before-use",
    "repair-this-season",
    "watch",
    "nothing-seen",
)
"""Of findings alone, worst first."""

GAPS: tuple[str, ...] = ("serious", "some", "none")
STANDINGS: tuple[str, ...] = ("verified-on-site", "seen-by-person", "calculated", "disputed", "possible")
KINDS: tuple[str, ...] = ("hazard", "departs-from-today")
VALUES: tuple[str, ...] = ("present", "absent", "unclear")
PILES: tuple[str, ...] = ("likely", "unsure", "unlikely")

TIER_WORDS: dict[str, str] = {
    "stop-use": "stop use: stay off it and out from under it today",
    "repair-before-use": "repair before use: nobody on or under it until it is repaired, by a set date",
    "repair-this-season": "repair this season",
    "watch": "watch",
    "nothing-seen": "nothing seen",
}
NOT_ENOUGH = "not enough seen or reviewed to say"
"""How a tier of null prints."""

ORDER_WORDS: dict[str, str] = {
    "danger": (
        "What to close or repair first: by tier, then by what is known at the joints of the load path; "
        "see 'joints' in --json. Where to go and see first: --order look."
    ),
    "look": (
        "Where to go and see first: by what the unseen, the unanswered and the unconfirmed could add to "
        "what is known; see 'joints' in --json. What to close or repair first: --order danger."
    ),
}

CAUTION = (
    "Photo triage ranks work for a qualified person on site; hidden fasteners, hidden decay and the ground "
    "cannot be seen in a photo. Local code, the authority and a licensed professional decide."
)


def tier_rank(tier: str | None) -> int:
    """Return 0 for the worst tier; null ranks just above `nothing-seen`.

    Raises ValueError for a word that is not a tier.
    """
    if tier is None:
        return TIERS.index("nothing-seen")
    position = TIERS.index(tier)
    return position + 1 if tier == "nothing-seen" else position


def shown_tier(computed: str | None, person: str | None) -> str | None:
    """Return the tier that every list, headline and table shows: the worse of the computed and a person's."""
    if person is not None and tier_rank(person) < tier_rank(computed):
        return person
    return computed


def worst(tiers: Iterable[str]) -> str | None:
    """Return the worst of some tiers, or null when there is none."""
    return min(tiers, key=TIERS.index, default=None)
