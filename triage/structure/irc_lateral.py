"""Lateral connection of an attached deck: IRC R507.9.2."""

from __future__ import annotations

from triage.structure.check import DEPARTS, Check, Facts, cannot_say, compare, dated, needs
from triage.structure.limits import limit, limit_source

_SINCE = 2009


def hold_down(facts: Facts) -> Check:
    """Return what each hold-down must carry against what it can, lb (R507.9.2): two 1500 or four 750."""
    count, capacity = facts.get("hold_down_count"), facts.get("hold_down_capacity_lb")
    source = limit_source("hold_down_two_lb")
    if count is None:
        missing = facts.missing("hold_down_count", "hold_down_capacity_lb")
        return cannot_say("hold-down", DEPARTS, "lb", needs(missing), source, missing)
    if count < 2:
        there = "no hold-down device" if count == 0 else "one hold-down device"
        why = f"{there}; two of 1500 lb or four of 750 lb are asked for"
        return dated(
            compare("hold-down", DEPARTS, limit("hold_down_two_lb"), 0.0, "lb", why, source), facts, _SINCE
        )
    demand, key = (limit("hold_down_four_lb"), "four") if count >= 4 else (limit("hold_down_two_lb"), "two")
    why = f"{count} hold-down devices, {demand:g} lb each by the rule for {key}"
    missing = facts.missing("hold_down_capacity_lb")
    source = limit_source(f"hold_down_{key}_lb")
    return dated(compare("hold-down", DEPARTS, demand, capacity, "lb", why, source, missing), facts, _SINCE)
