"""Beam overhang beyond the end post, and footings against the frost (IRC R507.5, R403.1.4.1)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from triage.structure.check import CANNOT_SAY, HAZARD, WITHIN, Check, Facts, cannot_say, compare, needs

OVERHANG_SOURCE = "IRC 2021 R507.5: a beam may reach a quarter of its span beyond a post (from memory)"
FROST_SOURCE = "IRC 2021 R403.1.4.1 and R507.3.2: footings below the frost line (from memory)"
OVERHANG_SHARE = 0.25


def support_checks(facts: Facts) -> list[Check]:
    """Return the checks that the known facts ask for; none where nothing is known."""
    found = []
    if facts.get("beam_overhang_ft") is not None:
        found.append(beam_overhang(facts))
    if facts.get("frost_depth_in") is not None:
        found.append(frost_depth(facts))
    return found


def beam_overhang(facts: Facts) -> Check:
    """Compare the beam's overhang with a quarter of its span."""
    name, overhang_ft = "beam-overhang", facts.number("beam_overhang_ft")
    missing = facts.missing("beam_span_ft")
    if missing:
        return cannot_say(name, HAZARD, "ft", needs(missing), OVERHANG_SOURCE, missing, overhang_ft)
    limit_ft = facts.number("beam_span_ft") * OVERHANG_SHARE
    why = f"at most a quarter of the beam's span of {facts.number('beam_span_ft'):g} ft"
    return compare(name, HAZARD, overhang_ft, limit_ft, "ft", why, OVERHANG_SOURCE)


def frost_depth(facts: Facts) -> Check:
    """Compare the footing's depth with the frost depth that was given; none is assumed."""
    name, frost_in = "frost-depth", facts.number("frost_depth_in")
    missing = facts.missing("footing_depth_in")
    if missing:
        return cannot_say(name, HAZARD, "in", needs(missing), FROST_SOURCE, missing, frost_in)
    why = "the footing's underside lies below the frost depth of the place"
    return compare(name, HAZARD, frost_in, facts.number("footing_depth_in"), "in", why, FROST_SOURCE)


def from_both_sides(facts: Facts, checks: Callable[[Facts], Sequence[Check]]) -> list[Check]:
    """Return checks of beams, posts and footings where joists may bear on the beam from both sides.

    The tables are for joists from one side. Joists from both sides load the beam as one joist of both spans
    together would (half of each span is carried); where the other span is not known nothing is within.
    """
    if facts.get("joists_both_sides") is not True:
        return list(checks(facts))
    one, other = facts.get("joist_span_ft"), facts.get("joist_span_other_side_ft")
    if one is not None and other is not None:
        both = Facts({**facts.values, "joist_span_ft": float(one) + float(other), "joist_overhang_ft": 0.0})
        return [
            replace(check, why=f"{check.why}; joists from both sides, {one:g} ft and {other:g} ft")
            for check in checks(both)
        ]
    return [
        replace(
            check,
            verdict=CANNOT_SAY,
            missing=(*check.missing, "joist_span_other_side_ft"),
            why=f"{check.why}; joists bear from both sides, {needs(('joist_span_other_side_ft',))}",
        )
        if check.verdict == WITHIN
        else check
        for check in checks(facts)
    ]
