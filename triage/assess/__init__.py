"""From evidence to a risk summary per deck: rules, coverage, combining photos, order, visits compared."""

from triage.assess.evidence import assess_library, gather
from triage.assess.order import rank
from triage.assess.records import Concern, DeckEvidence, DeckSummary, Seen
from triage.assess.rules import Rule, RuleBook, load_rule_book
from triage.assess.summary import assess_deck

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
