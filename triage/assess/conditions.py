"""Conditions of rules, as data: comparisons on tags, facts, checks and coverage, joined by all, any and not.

A condition is a TOML table with exactly one of these keys; nothing in it is ever evaluated as code.

    { all = [ ... ] }   { any = [ ... ] }   { not = { ... } }
    { tag = "missing-hanger", at_least = 2 }
    { fact = "height_above_grade_ft", over = 2.5 }      over, at_least, under, at_most, is, one_of, known
    { check = "joist-span", verdict = "over" }          verdict, ratio_over, kind, reason, outside
    { seen = "ledger", one_of = ["poorly", "not-seen"] }

A fact that is not known makes every comparison false (and its `not` true); `known = false` asks for that.
Tags may not be used under `not`: a defect that is seen can then never make a deck look better.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from triage.domain.tiers import STANDINGS
from triage.structure.check import UNVOUCHED

TRIED_BY_HAND = ("guard_post_firm",)


@dataclass(frozen=True)
class Support:
    """What made a condition true: its standing and where the evidence is."""

    standing: str
    tags: frozenset[str] = frozenset()
    facts: frozenset[str] = frozenset()
    checks: frozenset[str] = frozenset()

    def joined(self, other: Support, standing: str) -> Support:
        """Return both supports together with the given standing."""
        return Support(standing, self.tags | other.tags, self.facts | other.facts, self.checks | other.checks)


NOTHING = Support(STANDINGS[0])


class View(Protocol):
    """What a condition may ask of a deck."""

    def tag_standing(self, tag: str, at_least: int) -> str | None:
        """Return the standing of a tag that is present at least so often, else null."""

    def fact(self, key: str) -> Any:
        """Return a fact's value, or null when it is not known."""

    def check(self, name: str) -> Any:
        """Return a check's result, or null when it did not run."""

    def seen(self, element: str) -> str | None:
        """Return the coverage of an element, or null when the deck does not need it."""


@dataclass(frozen=True)
class Condition:
    """One node: `op` is all, any, not, tag, fact, check or seen; leaves carry `name` and `tests`."""

    op: str
    parts: tuple[Condition, ...] = ()
    name: str = ""
    tests: tuple[tuple[str, Any], ...] = ()

    def holds(self, view: View) -> Support | None:
        """Return what makes it true for this deck, or null when it is not."""
        return _HOLDS[self.op](self, view)

    def truth(self, view: View) -> bool | None:
        """Return whether it holds, or null where that hangs on facts or checks that are not known.

        Learning a fact can turn null into an answer and never one answer into the other.
        """
        if self.op in ("all", "any"):
            found = {part.truth(view) for part in self.parts}
            decisive = self.op == "any"
            return decisive if decisive in found else None if None in found else not decisive
        if self.op == "not":
            inner = self.parts[0].truth(view)
            return None if inner is None else not inner
        if self.op == "fact" and view.fact(self.name) is None and "known" not in dict(self.tests):
            return None
        if self.op == "check":
            result = view.check(self.name)
            if result is not None and result.verdict == "cannot-say" and self.holds(view) is None:
                return None
        return self.holds(view) is not None

    def leaves(self, op: str) -> Iterable[Condition]:
        """Yield every leaf of one kind, in the order of the file."""
        if self.op == op:
            yield self
        for part in self.parts:
            yield from part.leaves(op)

    def canonical(self) -> str:
        """Return a text that is equal for conditions that differ only in the order of their parts."""
        if self.op in ("all", "any"):
            return f"{self.op}({','.join(sorted({part.canonical() for part in self.parts}))})"
        if self.op == "not":
            return f"not({self.parts[0].canonical()})"
        return f"{self.op}:{self.name}:{sorted(self.tests, key=lambda test: test[0])!r}"


def _stronger(one: str, other: str) -> str:
    return min(one, other, key=STANDINGS.index)


def _weaker(one: str, other: str) -> str:
    return max(one, other, key=STANDINGS.index)


def _all(condition: Condition, view: View) -> Support | None:
    support = NOTHING
    for part in condition.parts:
        found = part.holds(view)
        if found is None:
            return None
        support = support.joined(found, _weaker(support.standing, found.standing))
    return support


def _any(condition: Condition, view: View) -> Support | None:
    support: Support | None = None
    for part in condition.parts:
        found = part.holds(view)
        if found is not None:
            support = (
                found
                if support is None
                else support.joined(found, _stronger(support.standing, found.standing))
            )
    return support


def _not(condition: Condition, view: View) -> Support | None:
    return NOTHING if condition.parts[0].holds(view) is None else None


def _tag(condition: Condition, view: View) -> Support | None:
    standing = view.tag_standing(condition.name, dict(condition.tests).get("at_least", 1))
    return None if standing is None else Support(standing, tags=frozenset({condition.name}))


def _fact(condition: Condition, view: View) -> Support | None:
    value = view.fact(condition.name)
    if not all(compare(value, test, wanted) for test, wanted in condition.tests):
        return None
    if value is None:
        return NOTHING
    return Support(_standing_of(condition.name, value), facts=frozenset({condition.name}))


def _standing_of(key: str, value: Any) -> str:
    """Return how well a fact stands: measured or tried by hand on site, else a person's word."""
    measured = isinstance(value, int | float) and not isinstance(value, bool)
    return "verified-on-site" if measured or key in TRIED_BY_HAND else "seen-by-person"


def _check(condition: Condition, view: View) -> Support | None:
    result = view.check(condition.name)
    if result is None:
        return None
    for test, wanted in condition.tests:
        if test == "verdict" and result.verdict != wanted:
            return None
        if test == "kind" and result.kind != wanted:
            return None
        if test == "ratio_over" and not (result.ratio is not None and result.ratio > wanted):
            return None
        if test == "reason" and result.reason != wanted:
            return None
        if test == "outside" and (result.reason in UNVOUCHED) != wanted:
            return None
    return Support("calculated", checks=frozenset({condition.name}))


def _seen(condition: Condition, view: View) -> Support | None:
    seen = view.seen(condition.name)
    held = all(compare(seen, test, wanted) for test, wanted in condition.tests)
    return NOTHING if held else None


_HOLDS: dict[str, Callable[[Condition, View], Support | None]] = {
    "all": _all,
    "any": _any,
    "not": _not,
    "tag": _tag,
    "fact": _fact,
    "check": _check,
    "seen": _seen,
}


def compare(value: Any, test: str, wanted: Any) -> bool:
    """Return whether a value passes one comparison; false for a value that is not known."""
    if test == "known":
        return bool((value is not None) == wanted)
    if value is None:
        return False
    if test in ("is", "one_of"):
        held = value if isinstance(value, list | tuple | set) else [value]
        options = wanted if test == "one_of" else [wanted]
        return any(_same(one, option) for one in held for option in options)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    orders: dict[str, bool] = {
        "over": value > wanted,
        "at_least": value >= wanted,
        "under": value < wanted,
        "at_most": value <= wanted,
    }
    return orders[test]


def _same(one: Any, other: Any) -> bool:
    return isinstance(one, bool) == isinstance(other, bool) and bool(one == other)
