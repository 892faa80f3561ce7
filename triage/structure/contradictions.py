"""Facts of one deck that cannot be true at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_SLACK_FT = 0.5
"""Lengths are taken with a tape over posts and rims: half a foot is not a contradiction."""

_ABSENT = (
    ("has_beam", ("beam_size", "beam_span_ft", "beam_bearing")),
    (
        "has_stairs",
        (
            "stair_rise_in",
            "stair_rise_spread_in",
            "stair_run_in",
            "stair_width_in",
            "stringer_attachment",
            "stair_guard_height_in",
            "stair_guard_gap_in",
            "headroom_in",
        ),
    ),
    ("has_guard", ("guard_height_in", "guard_gap_in", "guard_post_firm", "guard_post_notched")),
    ("attached", ("ledger_fastener", "ledger_nail", "ledger_fastener_spacing_in", "ledger_on")),
)
_NOT_LONGER = (
    ("joist_span_ft", "deck_depth_ft"),
    ("joist_overhang_ft", "deck_depth_ft"),
    ("ledger_length_ft", "deck_width_ft"),
    ("beam_span_ft", "deck_width_ft"),
    ("post_height_ft", "height_above_grade_ft"),
)


def of_absent_parts(facts: Mapping[str, Any]) -> frozenset[str]:
    """Return the facts about a part that the deck is recorded as not having."""
    return frozenset(key for flag, keys in _ABSENT if facts.get(flag) is False for key in keys)


def find(facts: Mapping[str, Any]) -> list[str]:
    """Return one sentence for every pair of facts that cannot be true at once."""
    return [*_absent(facts), *_lengths(facts), *_others(facts)]


def ended_by(new: Mapping[str, Any], earlier: Mapping[str, Any]) -> list[str]:
    """Return the facts of an earlier visit that new facts end: what they describe is gone.

    A ledger that was nailed and is bolted now has no ledger nail; stairs that were taken away have no rise.
    What could as well be a slip of the tape (two lengths that do not fit) is never ended.
    """
    ended = [
        key
        for flag, keys in _ABSENT
        if new.get(flag) is False
        for key in keys
        if key in earlier and earlier[key] != "unknown"
    ]
    if new.get("ledger_fastener") not in (None, "nail", "unknown") and "ledger_nail" in earlier:
        ended.append("ledger_nail")
    if new.get("post_count") == 0 and "post_size" in earlier:
        ended.append("post_size")
    return [key for key in dict.fromkeys(ended) if key not in new]


def _absent(facts: Mapping[str, Any]) -> list[str]:
    return [
        f"{flag} is false, but {key} is given"
        for flag, keys in _ABSENT
        if facts.get(flag) is False
        for key in keys
        if key in facts and facts[key] != "unknown"
    ]


def _lengths(facts: Mapping[str, Any]) -> list[str]:
    said = [
        f"{short} {facts[short]:g} is more than {long} {facts[long]:g}"
        for short, long in _NOT_LONGER
        if short in facts and long in facts and facts[short] > facts[long] + _SLACK_FT
    ]
    keys = ("joist_span_ft", "joist_overhang_ft", "deck_depth_ft")
    if not said and all(key in facts for key in keys):
        span, overhang, depth = (facts[key] for key in keys)
        if span + overhang > depth + _SLACK_FT:
            both = f"joist_span_ft {span:g} and joist_overhang_ft {overhang:g}"
            said.append(f"{both} are more than deck_depth_ft {depth:g}")
    return said


def _others(facts: Mapping[str, Any]) -> list[str]:
    said = []
    fastener = facts.get("ledger_fastener")
    if "ledger_nail" in facts and fastener not in (None, "nail", "unknown"):
        said.append(f"ledger_nail is given, but ledger_fastener is {fastener}")
    if facts.get("attached") is False and facts.get("house_side_support") == "ledger":
        said.append("attached is false, but house_side_support is ledger")
    if facts.get("post_count") == 0 and "post_size" in facts:
        said.append("post_count is 0, but post_size is given")
    if facts.get("stair_rise_spread_in", 0.0) > facts.get("stair_rise_in", float("inf")):
        said.append("stair_rise_spread_in is more than stair_rise_in")
    if facts.get("hold_down_count") == 0 and facts.get("hold_down_capacity_lb", 0) > 0:
        said.append("hold_down_count is 0, but hold_down_capacity_lb is given")
    return said
