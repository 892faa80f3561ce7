"""Which tags are asked about first: those that close a deck, or forbid gatherings on it, when they are seen.

A tag is urgent where one rule says so of that tag alone, at a deck of which nothing else is known: no other
tag, no fact, no check. A firm's own rules and severities count like the shipped ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.evidence import rule_book_of
from triage.domain.tiers import TIERS

if TYPE_CHECKING:
    from collections.abc import Collection

    from triage.assess.rules import RuleBook
    from triage.library import Library

AT_LEAST = "repair-before-use"
"""The mildest tier that makes a tag urgent."""


@dataclass(frozen=True)
class _OnlySeen:
    """A deck of which nothing is known but that one tag was seen, however often."""

    tag: str

    def tag_standing(self, tag: str, at_least: int) -> str | None:
        """Return that a person saw it."""
        return "seen-by-person" if tag == self.tag else None

    def fact(self, key: str) -> Any:
        """Return null: no fact is known."""

    def check(self, name: str) -> Any:
        """Return null: no check ran."""

    def seen(self, element: str) -> str | None:
        """Return null: nothing is said of coverage."""


def urgent_of(book: RuleBook, tags: Collection[str]) -> list[str]:
    """Return those of some tags that are urgent by a rule book, in their order."""
    bad = TIERS[: TIERS.index(AT_LEAST) + 1]
    rules = [rule for rule in book.rules.values() if rule.kind == "hazard" and rule.tier in bad]
    return [tag for tag in tags if any(rule.when.holds(_OnlySeen(tag)) is not None for rule in rules)]


def urgent_tags(library: Library) -> list[str]:
    """Return the urgent ones of a library's core tags."""
    return urgent_of(rule_book_of(library), library.vocabulary().core)
