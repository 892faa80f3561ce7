"""How well each part of a deck was seen, as paper says it.

Nobody may have marked a part as shown, and a printed finding shows it all the same. Such a part is not called
one without a photo, nor one that was seen: only the place of the finding was seen, which says
nothing of the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from triage.report.advice import told
from triage.report.phrases import AT_FINDING
from triage.report.repairs_list import element_of_concern

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary


def seen_states(summary: DeckSummary, element_of: Mapping[str, str]) -> dict[str, str]:
    """Return how each part was seen: its state of coverage, or `at-finding`."""
    shown = {element_of_concern(one, element_of) for one in told(summary) if one.photos}
    return {
        one.element: AT_FINDING if one.seen == "not-seen" and one.element in shown else one.seen
        for one in summary.coverage
    }


def parts_by_state(summary: DeckSummary, element_of: Mapping[str, str]) -> dict[str, list[str]]:
    """Return the parts of each state, in the order of the coverage."""
    by: dict[str, list[str]] = {}
    for element, state in seen_states(summary, element_of).items():
        by.setdefault(state, []).append(element)
    return by
