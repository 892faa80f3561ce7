"""From evidence to a risk summary per deck: rules, coverage, combining photos, order, visits compared.

Names are imported on first use, because the mathematics takes a moment to load.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.assess.evidence import assess_library, gather
    from triage.assess.order import rank
    from triage.assess.records import Concern, DeckEvidence, DeckSummary, Seen
    from triage.assess.rules import Rule, RuleBook, load_rule_book
    from triage.assess.summary import assess_deck

_HOMES = {
    "assess_library": "evidence",
    "gather": "evidence",
    "rank": "order",
    "Concern": "records",
    "DeckEvidence": "records",
    "DeckSummary": "records",
    "Seen": "records",
    "Rule": "rules",
    "RuleBook": "rules",
    "load_rule_book": "rules",
    "assess_deck": "summary",
}

__all__ = [
    "Concern",
    "DeckEvidence",
    "DeckSummary",
    "Rule",
    "RuleBook",
    "Seen",
    "assess_deck",
    "assess_library",
    "gather",
    "load_rule_book",
    "rank",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'triage.assess' has no attribute {name!r}")
    return getattr(import_module(f"triage.assess.{_HOMES[name]}"), name)
