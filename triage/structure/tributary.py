"""The deck area that one post or footing carries."""

from __future__ import annotations

from triage.structure.check import Facts


def tributary_area(facts: Facts) -> tuple[float | None, str, tuple[str, ...]]:
    """Return (area in sq ft or null, how it was found, facts that are missing).

    Where it is not given: an inner post under a beam with joists from one side carries the beam span times
    half of the joist span and the overhang (IRC Table R507.4, footnote on tributary area).
    """
    given = facts.get("tributary_area_sqft")
    if given is not None:
        return float(given), f"{given:g} sq ft on one post", ()
    if facts.missing("joist_span_ft", "beam_span_ft", "joist_overhang_ft"):
        return None, "", ("tributary_area_sqft",)
    span, overhang = facts.number("joist_span_ft"), facts.number("joist_overhang_ft")
    area = facts.number("beam_span_ft") * (span / 2 + overhang)
    return area, f"{area:.0f} sq ft on an inner post, joists from one side", ()
