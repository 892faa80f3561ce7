"""Deck boards over their joists, and joists that are notched or bored (IRC R507.7, R502.8.1).

The limits are from memory of the printed sections: single numbers and fractions.
"""

from __future__ import annotations

from triage.structure.check import HAZARD, Check, Facts, cannot_say, compare

DECKING_SOURCE = "IRC 2021 R507.7 and Table R507.7 (from memory); composite boards by their maker"
NOTCH_SOURCE = "IRC 2021 R502.8.1 (from memory)"
FIVE_QUARTER_IN = {"straight": 16.0, "diagonal": 12.0}
"""Joist spacing that 5/4 lumber decking allows, square to the joists and at 45 degrees (IRC Table R507.7)."""
TWO_INCH_IN = {"straight": 24.0, "diagonal": 16.0}
"""The same for 2x lumber decking (IRC Table R507.7)."""
NOTCH_SHARE = {"outer-third": 1 / 6, "end": 1 / 4}
"""Depth of a notch as a share of the joist's depth, by place (IRC R502.8.1)."""
HOLE_SHARE = 1 / 3
HOLE_EDGE_IN = 2.0
_DRESSED_IN = {4: 3.5, 6: 5.5, 8: 7.25, 10: 9.25, 12: 11.25, 14: 13.25}
"""Depth of dressed lumber by nominal depth (PS 20-20, American Softwood Lumber Standard)."""


def board_checks(facts: Facts) -> list[Check]:
    """Return the checks that the known facts ask for: decking span, notches, holes."""
    found = []
    if facts.get("decking_board") is not None:
        found.append(decking_span(facts))
    if facts.get("joist_notch_depth_in"):
        found.append(joist_notch(facts))
    if facts.get("joist_hole_in"):
        found.append(joist_hole(facts))
    return found


def decking_span(facts: Facts) -> Check:
    """Compare the joist spacing with what the boards allow; composites by their maker's number."""
    board = facts.get("decking_board")
    name = "decking-span"
    if board == "composite":
        missing = facts.missing("joist_spacing_in", "decking_maker_spacing_in")
        if missing:
            return cannot_say(name, HAZARD, "in", _needs(missing), DECKING_SOURCE, missing)
        limit, words = facts.number("decking_maker_spacing_in"), "composite boards, by their maker"
    else:
        missing = facts.missing("joist_spacing_in", "decking_direction")
        if missing:
            return cannot_say(name, HAZARD, "in", _needs(missing), DECKING_SOURCE, missing)
        table = FIVE_QUARTER_IN if board == "five-quarter" else TWO_INCH_IN
        limit = table[str(facts.get("decking_direction"))]
        words = f"{'5/4' if board == 'five-quarter' else '2x'} boards laid {facts.get('decking_direction')}"
    why = f"{words}: joists at most {limit:g} in apart, center to center"
    return compare(name, HAZARD, facts.number("joist_spacing_in"), limit, "in", why, DECKING_SOURCE)


def joist_notch(facts: Facts) -> Check:
    """Compare a notch with its limit: none in the middle third, 1/6 of the depth elsewhere, 1/4 at an end."""
    name, depth_in = "joist-notch", facts.number("joist_notch_depth_in")
    where = facts.get("joist_notch_place")
    if where == "middle-third":
        why = "no notch is allowed in the middle third of a joist"
        return compare(name, HAZARD, depth_in, 0.0, "in", why, NOTCH_SOURCE)
    missing = facts.missing("joist_size", "joist_notch_place")
    joist_in = _joist_depth_in(facts)
    if joist_in is not None and depth_in > joist_in / 4:
        why = f"deeper than a quarter of the joist ({joist_in:g} in), the most that is allowed anywhere"
        return compare(name, HAZARD, depth_in, joist_in / 4, "in", why, NOTCH_SOURCE)
    if missing or joist_in is None:
        return cannot_say(name, HAZARD, "in", _needs(missing), NOTCH_SOURCE, missing, depth_in)
    share = NOTCH_SHARE[str(where)]
    why = f"at most {'a quarter' if where == 'end' else 'a sixth'} of the joist's {joist_in:g} in there"
    return compare(name, HAZARD, depth_in, joist_in * share, "in", why, NOTCH_SOURCE)


def joist_hole(facts: Facts) -> Check:
    """Compare a bored hole with a third of the joist's depth, and its distance from the edges with 2 in."""
    name, hole_in = "joist-hole", facts.number("joist_hole_in")
    edge_in = facts.get("joist_hole_edge_in")
    if edge_in is not None and edge_in < HOLE_EDGE_IN:
        why = (
            f"a hole stays at least {HOLE_EDGE_IN:g} in from a joist's edges; this one is {edge_in:g} in away"
        )
        return compare(name, HAZARD, HOLE_EDGE_IN, float(edge_in), "in", why, NOTCH_SOURCE)
    joist_in = _joist_depth_in(facts)
    if joist_in is None:
        missing = ("joist_size",)
        return cannot_say(name, HAZARD, "in", _needs(missing), NOTCH_SOURCE, missing, hole_in)
    why = f"at most a third of the joist's depth of {joist_in:g} in"
    check = compare(name, HAZARD, hole_in, joist_in * HOLE_SHARE, "in", why, NOTCH_SOURCE)
    if edge_in is None and check.verdict == "within":
        missing = ("joist_hole_edge_in",)
        return cannot_say(name, HAZARD, "in", _needs(missing), NOTCH_SOURCE, missing, hole_in)
    return check


def _joist_depth_in(facts: Facts) -> float | None:
    size = facts.get("joist_size")
    return None if size is None else _DRESSED_IN.get(int(str(size).split("x")[1]))


def _needs(keys: tuple[str, ...]) -> str:
    return f"not known: {', '.join(keys)}" if keys else "a joist of this depth is not in the limits read here"
