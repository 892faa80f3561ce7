"""What of a deck is not said: facts and checks that could still turn out bad.

A deck reads 'nothing seen' only where no rule could hold whatever the unknown facts turn out to be, no
check of what holds it up is unsaid, and its height is known: taking a fact away can then never make it read
so.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.structure.check import CANNOT_SAY, LOAD_PATH, WHEN_MEASURED
from triage.structure.contradictions import of_absent_parts

if TYPE_CHECKING:
    from triage.assess.conditions import Condition
    from triage.assess.rules import RuleBook
    from triage.assess.view import DeckView
    from triage.structure import Check

HEIGHT = "height_above_grade_ft"


def uncounted(facts: Mapping[str, Any], needed: Collection[str]) -> list[str]:
    """Return the facts that say how many looks at a part are enough and that are not known."""
    wide = facts.get("deck_width_ft")
    length = facts.get("ledger_length_ft") or wide
    joists = facts.get("joist_count") or (wide and facts.get("joist_spacing_in"))
    asked = (
        ("ledger", "ledger_length_ft", length),
        ("hanger", "joist_count", joists),
        ("post", "post_count", facts.get("post_count")),
    )
    return [key for element, key, value in asked if element in needed and value is None]


@dataclass(frozen=True)
class Unsaid:
    """Names of what is not said: load-path checks, other checks, and facts that could make a concern."""

    checks: tuple[str, ...] = ()
    other_checks: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()

    @property
    def bars(self) -> bool:
        """Whether a deck with this may not read 'nothing seen'."""
        return bool(self.checks or self.facts)


def unsaid(view: DeckView, checks: Sequence[Check], book: RuleBook) -> Unsaid:
    """Return what is not said of a deck; facts by the rules that could hold if they turned out bad."""
    silent = [check for check in checks if check.verdict == CANNOT_SAY]
    facts = dict.fromkeys(key for check in checks if check.check in LOAD_PATH for key in check.assumed)
    if view.fact(HEIGHT) is None:
        facts = {HEIGHT: None, **facts}
    done = {check.check for check in checks}
    measured = [key for name, key in WHEN_MEASURED.items() if name not in done]
    facts.update(dict.fromkeys([*measured, *uncounted(view.facts, view.coverage)]))
    absent = of_absent_parts(view.facts)
    for rule in book.in_order:
        if rule.when.truth(view) is None:
            facts.update(dict.fromkeys(key for key in _unknown(rule.when, view) if key not in absent))
    return Unsaid(
        checks=tuple(check.check for check in silent if check.check in LOAD_PATH),
        other_checks=tuple(check.check for check in silent if check.check not in LOAD_PATH),
        facts=tuple(facts),
    )


def _unknown(condition: Condition, view: DeckView) -> Iterable[str]:
    """Return the facts that a condition's truth hangs on: its own, or those a check asks for."""
    for leaf in condition.leaves("fact"):
        if view.fact(leaf.name) is None:
            yield leaf.name
    for leaf in condition.leaves("check"):
        check = view.check(leaf.name)
        if check is not None and check.verdict == CANNOT_SAY:
            yield from check.missing
