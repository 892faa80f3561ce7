"""The outcome of one structural check, and the facts it is made from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

HAZARD = "hazard"
DEPARTS = "departs-from-today"
WITHIN, OVER, CANNOT_SAY = "within", "over", "cannot-say"
MAY_HAVE_BEEN_ALLOWED = "may have been allowed when built"
COMPARED = "compared"
MISSING = "missing-facts"
OUTSIDE = "outside-table"
NOT_COUNTED = "nails-not-counted"
NOT_NEEDED = "not-needed"
ATTACHMENT = "attachment"
EDGES = "edge-distances"
TESTS_GOVERN = "tests-govern"
MARGIN = "no-margin"
UNVOUCHED = frozenset({OUTSIDE, MARGIN})
"""Reasons of a check that no published table vouches for, though nothing is missing."""
NO_PART = "no-such-part"
REASONS = (
    COMPARED,
    MISSING,
    OUTSIDE,
    NOT_COUNTED,
    NOT_NEEDED,
    NO_PART,
    ATTACHMENT,
    EDGES,
    TESTS_GOVERN,
    MARGIN,
)
"""Why a check has its verdict, for programs; `why` says it in words."""
LOAD_PATH: Mapping[str, str] = {
    "ledger-spacing-table": "ledger",
    "ledger-fastener-mechanics": "ledger",
    "ledger-placement": "ledger",
    "joist-span": "joist",
    "joist-overhang": "joist",
    "joist-bearing": "joist",
    "beam-span": "beam",
    "beam-bearing": "beam",
    "post-height": "post",
    "footing-size": "footing",
}
"""Checks of what holds the deck up, with their element; with one unsaid no deck reads 'nothing seen'."""
WHEN_MEASURED: Mapping[str, str] = {"joist-bearing": "joist_end_bearing_in"}
"""Checks that run only where their fact was measured."""
ASSUMED_LOADS = ("live_load_psf", "dead_load_psf", "snow_load_psf")
POOR_SCREWS: dict[str, str] = {
    "deck-screw": "deck screws snap and have no value in a ledger",
    "drywall-screw": "drywall screws snap and have no value in a ledger",
    "unmarked-screw": "a screw without its maker's mark counts for nothing",
}
"""Screws that no ledger table or report holds, and why."""
_EDGE = 1e-9
"""Ratios this close to 1 count as 1: sums of fractions of an inch are not exact in floating point."""


@dataclass(frozen=True)
class Check:
    """One check: demand and capacity in `unit`, ratio = demand / capacity, verdict and its reason.

    `verdict` is within, over or cannot-say; `kind` hazard or departs-from-today; `missing` names the facts
    that would let it be said, or that a check which is over already could not look at; `source` the
    document, edition and place. No number is ever NaN or infinite.
    `reason` is one of `REASONS`; `assumed` names facts that were taken from the code where nothing is known.
    """

    check: str
    kind: str
    demand: float | None
    capacity: float | None
    ratio: float | None
    unit: str
    verdict: str
    missing: tuple[str, ...]
    why: str
    source: str
    reason: str = COMPARED
    assumed: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the check as plain data with the keys of the command's JSON."""
        return {
            "check": self.check,
            "kind": self.kind,
            "demand": _plain(self.demand),
            "capacity": _plain(self.capacity),
            "ratio": _plain(self.ratio),
            "unit": self.unit,
            "verdict": self.verdict,
            "missing": list(self.missing),
            "why": self.why,
            "source": self.source,
            "reason": self.reason,
            "assumed": list(self.assumed),
        }


def _plain(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 4)


def known_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the facts that are known: one said to be `unknown` is as good as one that nobody gave."""
    return {key: value for key, value in values.items() if value is not None and value != "unknown"}


class Facts:
    """Parsed facts with what the checks assume where nothing was recorded."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self.values = known_values(values)

    def get(self, key: str, default: Any = None) -> Any:
        """Return a value, or the default where it is not known."""
        return self.values.get(key, default)

    def number(self, key: str) -> float:
        """Return a number that is known to be there (see `missing`)."""
        return float(self.values[key])

    def missing(self, *keys: str) -> tuple[str, ...]:
        """Return the keys about which nothing was recorded."""
        return tuple(key for key in keys if self.get(key) is None)

    @property
    def edition(self) -> str:
        """The code edition that the tables are read in."""
        return str(self.get("code_edition", "irc-2021"))

    @property
    def has_ledger(self) -> bool:
        """Whether joists may hang on the house: not for a freestanding deck."""
        return self.get("attached") is not False and self.get("house_side_support") not in (
            "own-beam",
            "through-wall",
        )

    def species(self, key: str = "species") -> str | None:
        """Return a species group, by its own key or else as `species`."""
        found = self.get(key) or self.get("species")
        return None if found is None else str(found)

    def beyond_tables(self) -> str | None:
        """Return why the deck is outside every prescriptive table, or null (DCA 6, scope; IRC R507.1)."""
        extra = self.get("extra_load", "none")
        if extra != "none":
            words = {"hot-tub": "a hot tub", "roof": "a roof", "crowd": "a crowd"}
            return f"the deck carries {words[extra]}"
        if self.get("fire") is True:
            return "the deck has been through a fire"
        if self.get("storeys", 1) > 1:
            return "the deck has more than one level"
        return None


@dataclass(frozen=True)
class Answer:
    """What a table allows: a capacity in the check's unit (null where it has none), why, and its source."""

    capacity: float | None
    why: str
    source: str


def compare(
    check: str,
    kind: str,
    demand: float | None,
    capacity: float | None,
    unit: str,
    why: str,
    source: str,
    missing: Iterable[str] = (),
) -> Check:
    """Return a check of demand against capacity: over above 1, cannot-say when something is missing.

    A capacity of zero gives no ratio and is over.
    """
    missing = tuple(missing)
    if missing:
        why = f"{why}; {needs(missing)}" if why else needs(missing)
    if missing or demand is None or capacity is None:
        return Check(check, kind, demand, capacity, None, unit, CANNOT_SAY, missing, why, source, MISSING)
    ratio = ratio_of(demand, capacity)
    verdict = OVER if ratio is None or ratio > 1 + _EDGE else WITHIN
    return Check(check, kind, demand, capacity, ratio, unit, verdict, (), why, source)


def ratio_of(demand: float, capacity: float) -> float | None:
    """Return demand over capacity; null where the capacity is nothing or next to nothing."""
    ratio = demand / capacity if capacity > 0 else math.inf
    return ratio if math.isfinite(ratio) else None


def cannot_say(
    check: str,
    kind: str,
    unit: str,
    why: str,
    source: str,
    missing: Iterable[str] = (),
    demand: float | None = None,
) -> Check:
    """Return a check that cannot be said: for want of the facts it names, else beyond every table."""
    missing = tuple(missing)
    reason = MISSING if missing else OUTSIDE
    return Check(check, kind, demand, None, None, unit, CANNOT_SAY, missing, why, source, reason)


def outside(table: str, reason: str) -> str:
    """Return the sentence for a value that a published table does not hold."""
    return f"outside the table {table}: {reason}; needs an engineer"


def needs(keys: Iterable[str]) -> str:
    """Return the sentence that asks for facts."""
    return f"not known: {', '.join(keys)}"


def limited(check: Check, facts: Facts, table: str) -> Check:
    """Return the check held back where a table does not reach: what is over stays over, nothing is within."""
    reason = facts.beyond_tables()
    if reason is None or check.verdict == CANNOT_SAY:
        return check
    if check.verdict == OVER:
        return replace(check, why=f"{check.why}; over even if we ignore that {reason}")
    why = f"{outside(table, reason)} ({check.why})"
    return replace(check, verdict=CANNOT_SAY, reason=OUTSIDE, why=why)


def bracketed(
    check: str,
    demand: float | None,
    harder: Answer,
    easier: Answer,
    outside_why: str,
    table: str,
    missing: Iterable[str] = (),
    unit: str = "ft",
    kind: str = HAZARD,
) -> Check:
    """Return a check against a table that may not hold the deck: judged by the cells next to it.

    `harder` is the nearest cell that is at least as hard as the deck, `easier` the nearest that is at most
    as hard; they are one where the table holds it, and either may be without a capacity. Within the harder
    one is within, over the easier one is over; between them nothing can be said.
    """
    missing = tuple(missing)
    if demand is None or missing or (harder.capacity is None and easier.capacity is None):
        best = harder if harder.capacity is not None else easier
        why = outside(table, outside_why) if outside_why else best.why
        if missing:
            return compare(check, kind, demand, best.capacity, unit, why, best.source, missing)
        return cannot_say(check, kind, unit, why, best.source, (), demand)
    if harder.capacity is not None:
        found = compare(check, kind, demand, harder.capacity, unit, harder.why, harder.source)
        if found.verdict == WITHIN or harder == easier:
            return found
    if easier.capacity is not None:
        why = f"{easier.why}; {outside_why}, so even the nearest easier cell is exceeded"
        found = compare(check, kind, demand, easier.capacity, unit, why, easier.source)
        if found.verdict == OVER:
            return found
    best = easier if easier.capacity is not None else harder
    return cannot_say(check, kind, unit, outside(table, outside_why), best.source, (), demand)


def dated(check: Check, facts: Facts, rule_since: int) -> Check:
    """Return the check with `may have been allowed when built` where the deck is older than the rule.

    `rule_since` is the year of the first model code edition with the rule.
    """
    year = facts.get("year_built")
    if year is None or check.verdict != OVER or year >= rule_since:
        return check
    said = f"{MAY_HAVE_BEEN_ALLOWED} ({year}; this rule dates from {rule_since} or later)"
    return replace(check, why=f"{check.why}; {said}")
