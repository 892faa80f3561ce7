"""The measures that the sketch is drawn by, and which of them had to be assumed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from triage.library.records import Fact

MOST_JOISTS = 60
MOST_POSTS = 12
MOST_FASTENERS = 120


@dataclass(frozen=True)
class Measures:
    """What the drawing needs; `assumed` names what is not known."""

    width_ft: float
    depth_ft: float
    beam_at_ft: float
    height_ft: float
    joist_count: int
    post_count: int
    fastener_spacing_in: float | None
    fasteners_per_group: int
    has_beam: bool
    has_stairs: bool
    has_guard: bool
    attached: bool
    assumed: tuple[str, ...]


def measures(facts: Mapping[str, Fact]) -> Measures:
    """Return the measures of a deck; what is missing or not a sound number is assumed and named."""
    values = {key: fact.value for key, fact in facts.items()}
    assumed: list[str] = []

    def take(key: str, words: str, fallback: float, most: float) -> float:
        number = sound(values.get(key), most)
        if number is None:
            assumed.append(words)
            return fallback
        return number

    width_ft = take("deck_width_ft", "width", 14.0, 200.0)
    span_ft, over_ft = sound(values.get("joist_span_ft"), 100.0), sound(values.get("joist_overhang_ft"), 50.0)
    known_ft = None if span_ft is None else span_ft + (over_ft or 0.0)
    depth_ft = sound(values.get("deck_depth_ft"), 200.0) or known_ft
    if depth_ft is None:
        assumed.append("depth")
        depth_ft = 12.0
    beam_at_ft = _beam_at(values, depth_ft, span_ft, over_ft, assumed)
    joists = _joist_count(values, width_ft, assumed)
    posts = int(take("post_count", "number of posts", 3, MOST_POSTS))
    return Measures(
        width_ft=width_ft,
        depth_ft=depth_ft,
        beam_at_ft=beam_at_ft,
        height_ft=take("height_above_grade_ft", "height", 6.0, 60.0),
        joist_count=joists,
        post_count=max(1, posts),
        fastener_spacing_in=sound(values.get("ledger_fastener_spacing_in"), 240.0),
        fasteners_per_group=int(sound(values.get("ledger_fasteners_per_group"), 4.0) or 1),
        has_beam=values.get("has_beam") is not False,
        has_stairs=values.get("has_stairs") is True,
        has_guard=values.get("has_guard") is True,
        attached=values.get("attached") is not False and values.get("house_side_support") != "own-beam",
        assumed=tuple(assumed),
    )


def sound(value: Any, most: float) -> float | None:
    """Return a positive finite number of at most `most`, or None."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= most:
        return None
    return float(value)


def _beam_at(
    values: Mapping[str, Any],
    depth_ft: float,
    span_ft: float | None,
    over_ft: float | None,
    assumed: list[str],
) -> float:
    if span_ft is not None and span_ft <= depth_ft:
        return span_ft
    if over_ft is not None and over_ft < depth_ft:
        return depth_ft - over_ft
    if values.get("has_beam") is not False:
        assumed.append("place of the beam")
    return depth_ft * 0.85


def _joist_count(values: Mapping[str, Any], width_ft: float, assumed: list[str]) -> int:
    count = sound(values.get("joist_count"), 1000.0)
    if count is not None:
        return max(2, min(MOST_JOISTS, int(count)))
    spacing_in = sound(values.get("joist_spacing_in"), 96.0)
    if spacing_in is None or "width" in assumed:
        assumed.append("number of joists")
    return max(2, min(MOST_JOISTS, round(width_ft * 12 / (spacing_in or 16.0)) + 1))
