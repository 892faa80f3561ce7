"""The plan on the page's first screen: the decks to close or repair first, and those to go and see."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from triage.assess.evidence import rule_book_of
from triage.assess.unsaid import HEIGHT
from triage.library import queries
from triage.report.plan import (
    DANGER,
    EXPLAINED,
    LOOK,
    REST,
    TITLES,
    height_words,
    list_of,
    look_key,
)
from triage.report.text import day_words, minute_words

if TYPE_CHECKING:
    from triage.assess.cache.lines import Line
    from triage.assess.severity import Matrix
    from triage.library import Library

FIRST = 5
"""So many decks of a list are shown with who was told and when they are due."""


def plan_lists(library: Library, lines: Sequence[Line]) -> list[dict[str, Any]]:
    """Return the lists of the plan that hold decks: title, explanation, how many, and the first few."""
    lists: dict[str, list[Line]] = {DANGER: [], LOOK: [], REST: []}
    for one in lines:
        lists[list_of(one)].append(one)
    lists[LOOK].sort(key=look_key)
    matrix = rule_book_of(library).matrix
    return [
        {
            "key": key,
            "title": TITLES[key],
            "words": EXPLAINED[key],
            "total": len(decks),
            "rows": [] if key == REST else [_row(library, one, matrix) for one in decks[:FIRST]],
        }
        for key, decks in lists.items()
        if decks
    ]


def _row(library: Library, one: Line, matrix: Matrix) -> dict[str, Any]:
    height = queries.facts(library, one.deck).get(HEIGHT)
    told = queries.warnings(library, one.deck)
    due = queries.deck_private(library, one.deck).get("due", "")
    stopped = "stop-use" in (one.tier, one.tier_by_person.tier if one.tier_by_person else None)
    return {
        "deck": one.deck,
        "one": one,
        "height": height_words(matrix.height_class(float(height.value) if height else None)),
        "told": f"{told[-1].told}, {minute_words(told[-1].told_at)}" if told else "",
        "untold": stopped and not told,
        "due": day_words(due) if due else "",
    }
