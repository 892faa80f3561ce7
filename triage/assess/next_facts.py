"""Which facts of a deck are worth asking for: what they would change, and how easily they are known.

A fact is asked for where it decides how urgent something is that was seen or suggested, and from the
first questions of the site sheet where nobody has looked at that part of the deck. What asking costs and how
often an answer matters is data (`triage/data/site_sheet.toml`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from triage.assess.coverage import coverage
from triage.assess.records import DeckEvidence
from triage.assess.rules import RuleBook
from triage.assess.view import DeckView
from triage.structure.site_sheet import efforts, label_of

HEIGHT = "height_above_grade_ft"
FIRST: Mapping[str, tuple[str, str]] = {
    HEIGHT: ("", "Nobody has written it down, so the deck is taken to be in the highest class."),
    "attached": ("ledger", "It decides whether a ledger has to be looked for; the ledger was not seen well."),
    "has_guard": ("guard", "The guard was not seen well, and a missing one is a fall."),
}
"""Asked of any deck: the element that makes the question needless once it was seen well, and the reason."""
UNKNOWN_PLACE = 0.5
"""Weight that an answer to a first question is taken to move where no rule tells; less than any hazard's."""


@dataclass(frozen=True)
class FactAsk:
    """A fact to ask for, why in one line, and what it is worth (never printed)."""

    key: str
    why: str
    gain: float


def fact_asks(
    evidence: DeckEvidence, view: DeckView, book: RuleBook, weight: Callable[[DeckView], float]
) -> Iterator[FactAsk]:
    """Return the facts worth asking for, in no order; `weight` weighs the worst that a view prints."""
    now, decides = weight(view), _decides(view, book)
    first = _first(evidence, view)
    for key in sorted({*decides, *first}):
        tags, options = decides.get(key, ((), ()))
        spread = [abs(weight(replace(view, facts={**view.facts, key: value})) - now) for value in options]
        rise = sum(spread) / len(spread) if spread else 0.0
        if key in first:
            rise = max(rise, UNKNOWN_PLACE)
        if rise:
            why = first.get(key) or _why(key, tags)
            yield FactAsk(key, why, _odds(key) * rise / _effort(key))


def _first(evidence: DeckEvidence, view: DeckView) -> dict[str, str]:
    well = {one.element for one in coverage(evidence.visits()) if one.seen == "well"}
    return {
        key: why
        for key, (element, why) in FIRST.items()
        if view.fact(key) is None and (key == HEIGHT or element not in well)
    }


def _decides(view: DeckView, book: RuleBook) -> dict[str, tuple[tuple[str, ...], tuple[Any, ...]]]:
    """Return the unknown facts that rules on seen or suggested tags read: the tags, values on either side."""
    found: dict[str, tuple[dict[str, None], dict[Any, None]]] = {}
    for rule in book.in_order:
        tags = [tag for tag in rule.tags if view.items.get(tag)]
        if not tags:
            continue  # only what decides how urgent a thing is that was seen or suggested
        leaves = [leaf for leaf in rule.when.leaves("fact") if view.fact(leaf.name) is None]
        for leaf in leaves:
            names, values = found.setdefault(leaf.name, ({}, {}))
            names.update(dict.fromkeys(tags))
            values.update(dict.fromkeys(_either_side(leaf.tests)))
        if view.fact(HEIGHT) is None and rule.severity is not None:
            names, values = found.setdefault(HEIGHT, ({}, {}))
            names.update(dict.fromkeys(tags))
            values.update(dict.fromkeys((2.0, 5.0, 9.0, 12.0)))
    return {key: (tuple(names), tuple(sorted(values, key=repr))) for key, (names, values) in found.items()}


def _either_side(tests: Sequence[tuple[str, Any]]) -> Iterator[Any]:
    for test, wanted in tests:
        if test in ("over", "under", "at_least", "at_most"):
            yield from (wanted, wanted * 1.5, wanted * 0.5)
        elif test == "is":
            yield wanted
        elif test == "one_of":
            yield from wanted


def _why(key: str, tags: Sequence[str]) -> str:
    seen = tags[0].replace("-", " ")
    more = f" and {len(tags) - 1} more" if len(tags) > 1 else ""
    return f"{label_of(key)} is not known; it decides how urgent this is: {seen}{more}."


@cache
def _table() -> Mapping[str, Mapping[str, float]]:
    return efforts()


def _effort(key: str) -> float:
    return _table()["effort"].get(key, _table()["effort"]["otherwise"])


def _odds(key: str) -> float:
    return _table()["odds"].get(key, _table()["odds"]["otherwise"])
