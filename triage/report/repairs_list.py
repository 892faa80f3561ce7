"""The repair list for the crew: places, quantities, and an order in which the work is safe.

The order is common practice (no source): shore before anything that carries is loosened, mend what carries
from the ground up, photograph whatever gets covered before it is covered, then the parts people touch, and
last a photo of every place from where it was seen before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.domain.tiers import TIERS
from triage.report.phrases import tier_short
from triage.report.text import and_list, clean

if TYPE_CHECKING:
    from triage.assess.records import Concern

CARRIES = ("footing", "post", "brace", "beam", "ledger", "band", "hold-down", "hanger", "connector", "joist")
"""Elements that hold the deck up, in the order in which they are mended."""
COVERED = ("footing", "ledger", "band", "flashing", "hold-down", "hanger", "connector", "beam")
"""Elements that are hidden again when the work is done."""
ORDER = (*CARRIES, "flashing", "guard-post", "guard", "stringer", "stair", "decking", "whole-deck")


@dataclass(frozen=True)
class Task:
    """One line of the crew's list. `concerns` are the numbers of the concerns it belongs to."""

    step: int
    phase: str
    what: str
    place: str
    quantity: str
    concerns: str
    tier: str


def element_of_concern(one: Concern, element_of: Mapping[str, str]) -> str:
    """Return the element that a concern is about: its own, its tag's, or the one that its rule names."""
    found = one.element or element_of.get(one.tag or "")
    if found:
        return found
    words = f"{one.rule} {one.tag or ''}".lower()
    return next((name for name in sorted(ORDER, key=len, reverse=True) if name in words), "")


def needs_repair(one: Concern) -> bool:
    """Say whether a concern belongs on the crew's list: open, said or calculated, with a repair to make."""
    return (
        one.standing != "possible" and one.status != "repaired" and one.kind == "hazard" and bool(one.repair)
    )


def repair_order(numbered: Mapping[int, Concern], element_of: Mapping[str, str]) -> list[int]:
    """Return the numbers of the concerns to repair in the order of the work: what carries, ground up."""

    def place(number: int) -> tuple[int, int, int]:
        one = numbered[number]
        element = element_of_concern(one, element_of)
        rank = ORDER.index(element) if element in ORDER else len(ORDER)
        return (rank, TIERS.index(one.tier), number)

    return sorted((number for number, one in numbered.items() if needs_repair(one)), key=place)


def crew_tasks(numbered: Mapping[int, Concern], element_of: Mapping[str, str]) -> tuple[Task, ...]:
    """Return the crew's list for a deck; empty when there is nothing to repair."""
    order = repair_order(numbered, element_of)
    if not order:
        return ()
    elements = {number: element_of_concern(numbered[number], element_of) for number in order}
    carrying = [number for number in order if elements[number] in CARRIES]
    covered = [number for number in order if elements[number] in COVERED]
    lines: list[tuple[str, str, str, str, str, str]] = []
    if carrying:
        lines.append(_all("Shore first", _SHORE, carrying))
    lines += _repairs(order, numbered)
    if covered:
        lines.append(_all("Photograph before covering", _BEFORE_COVER, covered))
    lines.append(_all("Photograph when done", _AFTER, order))
    return tuple(Task(step, *line) for step, line in enumerate(lines, start=1))


_SHORE = (
    "Clear the deck and bar access; put up shoring that carries the deck on its own before any part "
    "that carries load is loosened. A qualified person says where and how much."
)
_BEFORE_COVER = "Photograph the finished work at each place before anything covers it."
_AFTER = "Photograph each place from where the first photo was taken, so that the concern can be closed."


def _all(phase: str, what: str, numbers: list[int]) -> tuple[str, str, str, str, str, str]:
    return (phase, what, "", "", and_list(str(number) for number in sorted(numbers)), "")


def _repairs(order: list[int], numbered: Mapping[int, Concern]) -> list[tuple[str, str, str, str, str, str]]:
    """Return one line for each repair, with all its places."""
    groups: dict[tuple[str, str, str], list[int]] = {}
    for number in order:
        one = numbered[number]
        groups.setdefault((one.repair, one.verify_on_site, one.tier), []).append(number)
    return [_repair(numbers, numbered) for numbers in groups.values()]


def _repair(numbers: list[int], numbered: Mapping[int, Concern]) -> tuple[str, str, str, str, str, str]:
    one = numbered[numbers[0]]
    what = clean(one.repair)
    places = [clean(numbered[number].place or "not stated: find it by the photo") for number in numbers]
    counts = [numbered[number].count for number in numbers]
    known = [count for count in counts if count is not None]
    quantity = f"{sum(known)} marked" if len(known) == len(counts) else "count on site"
    cited = and_list(str(number) for number in numbers)
    if one.verify_on_site:
        what = f"{what} Verify on site first: see concern {cited}."
    return ("Repair", what, "; ".join(dict.fromkeys(places)), quantity, cited, tier_short(one.tier))
