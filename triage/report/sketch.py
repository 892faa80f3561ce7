"""The drawn sketch of a deck: plan and section from the facts, with what was seen and what is wrong.

A drawing style of its own: plain ink, wood tint, the house hatched. How well an element was seen is its
line style and a word; a concern is the shape of its tier with its number. Where facts are missing the
drawing says that it is not to scale and which facts were assumed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from triage.library.records import Fact
from triage.report.look import shape_key
from triage.report.phrases import AT_FINDING, SEEN_WORDS, tag_words
from triage.report.repairs_list import element_of_concern
from triage.report.seen import seen_states
from triage.report.sketch_facts import MOST_FASTENERS, Measures, measures
from triage.report.sketch_marks import Anchors, place_point, spread
from triage.report.svg import Pen
from triage.report.text import and_list

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary

WIDTH, HEIGHT = 700.0, 372.0
PLAN = (16.0, 46.0, 300.0, 236.0)
"""x, y, width, height of the room for the plan, in units of the drawing."""
SECTION = (488.0, 62.0, 206.0, 210.0)
STATE_WORDS = {state: words.partition(":")[0] for state, words in SEEN_WORDS.items()} | {
    AT_FINDING: "only at the finding"
}


def draw_deck(
    facts: Mapping[str, Fact],
    summary: DeckSummary,
    numbered: Mapping[int, Concern],
    element_of: Mapping[str, str],
) -> str:
    """Return the sketch as one SVG element."""
    size = measures(facts)
    seen = seen_states(summary, element_of)
    pen = Pen()
    anchors = _plan(pen, size, seen)
    _section(pen, size, seen)
    _marks(pen, numbered, element_of, anchors)
    _notes(pen, size)
    return pen.svg(WIDTH, HEIGHT, f"Sketch of {summary.deck}: plan and section")


def _plan(pen: Pen, size: Measures, seen: Mapping[str, str]) -> Anchors:
    left, top, room_w, room_h = PLAN
    scale = min(room_w / size.width_ft, room_h / size.depth_ft)
    w, d = size.width_ft * scale, size.depth_ft * scale
    beam_y = top + size.beam_at_ft * scale
    pen.text(left - 12, top - 30, "Plan (house at the top)", bold=True)
    pen.rect(left - 12, top - 20, w + 24, 14, fill="wash", width=0.8)
    pen.hatch(left - 12, top - 20, w + 24, 14)
    pen.rect(left, top - 6, w, d + 6, fill="wood", seen=_state(seen, "decking"), width=0.9)
    joists = _row(left + 3, left + w - 3, size.joist_count)
    for x in joists:
        pen.line(x, top + 6, x, top + d - 2, _state(seen, "joist"), 0.9)
    pen.rect(left, top - 5, w, 9, fill="paper", seen=_state(seen, "ledger"), width=1.5)
    _fasteners(pen, size, left, top, w)
    posts = _row(left + w * 0.06, left + w * 0.94, size.post_count)
    if size.has_beam:
        pen.rect(left + 2, beam_y - 4, w - 4, 8, fill="paper", seen=_state(seen, "beam"), width=1.5)
        for x in posts:
            pen.rect(x - 5, beam_y - 5, 10, 10, fill="wood", seen=_state(seen, "post"), width=1.5)
    if size.has_guard:
        pen.rect(left - 3, top - 6, w + 6, d + 10, seen=_state(seen, "guard"), width=0.9)
    if size.has_stairs:
        _stair(pen, left + w * 0.62, top + d + 4, _state(seen, "stair"))
    _labels(pen, seen, size, (left + w + 16, top, beam_y))
    return _anchors(joists, posts, (left, top, w, d), beam_y)


def _fasteners(pen: Pen, size: Measures, left: float, top: float, w: float) -> None:
    if size.fastener_spacing_in is None or not size.attached:
        return
    count = int(size.width_ft * 12 / size.fastener_spacing_in) + 1
    if count > MOST_FASTENERS:
        return
    for x in _row(left + 5, left + w - 5, max(2, count)):
        for one in range(min(2, size.fasteners_per_group)):
            pen.dot(x, top - 2 + 4 * one, 1.4)


def _stair(pen: Pen, x: float, y: float, seen: str) -> None:
    pen.rect(x, y, 40, 30, fill="wood", seen=seen, width=1.0)
    for step in (6, 12, 18, 24):
        pen.line(x, y + step, x + 40, y + step, seen, 0.8)


def _labels(pen: Pen, seen: Mapping[str, str], size: Measures, at: tuple[float, float, float]) -> None:
    x, top, beam_y = at
    wanted = [("flashing", top - 10), ("ledger", top + 4), ("hanger", top + 18), ("joist", top + 48)]
    wanted += [("decking", top + 62)] if "decking" in seen else []
    outer = max(beam_y, top + 92)
    wanted += [("beam", outer), ("post", outer + 14), ("footing", outer + 28)] if size.has_beam else []
    wanted += [(name, 0.0) for name in ("guard", "stair") if name in seen]
    y = top - 30
    for name, wish in wanted:
        y = max(y + 15, wish)
        pen.text(x, y, f"{tag_words(name)}: {STATE_WORDS[_state(seen, name)]}", size=11.5)


def _section(pen: Pen, size: Measures, seen: Mapping[str, str]) -> None:
    left, top, room_w, room_h = SECTION
    scale = min((room_w - 30) / size.depth_ft, (room_h - 40) / max(size.height_ft, 1.0))
    d, h = size.depth_ft * scale, size.height_ft * scale
    ground, deck_y = top + room_h - 10, top + room_h - 10 - h
    pen.text(left, PLAN[1] - 30, "Section (house at the left)", bold=True)
    pen.rect(left, min(top, deck_y - 30), 14, ground - min(top, deck_y - 30), fill="wash", width=0.8)
    pen.hatch(left, min(top, deck_y - 30), 14, ground - min(top, deck_y - 30))
    pen.line(left - 6, ground, left + d + 34, ground, "well", 1.4)
    x0 = left + 14
    pen.rect(x0, deck_y - 4, d, 4, fill="wood", seen=_state(seen, "decking"), width=0.8)
    pen.rect(x0 + 5, deck_y, max(1.0, d - 5), 10, fill="wood", seen=_state(seen, "joist"), width=1.1)
    if size.attached:
        pen.rect(x0, deck_y, 5, 12, fill="paper", seen=_state(seen, "ledger"), width=1.5)
    if size.has_beam:
        beam_x = x0 + size.beam_at_ft * scale
        pen.rect(beam_x - 4, deck_y + 10, 8, 10, fill="paper", seen=_state(seen, "beam"), width=1.5)
        if ground - deck_y > 22:
            post_h = ground - deck_y - 20
            pen.rect(beam_x - 4, deck_y + 20, 8, post_h, fill="wood", seen=_state(seen, "post"), width=1.3)
        pen.rect(beam_x - 11, ground, 22, 10, fill="wash", seen=_state(seen, "footing"), width=1.2)
    if size.has_guard:
        pen.line(x0 + d - 2, deck_y - 4, x0 + d - 2, deck_y - 26, _state(seen, "guard-post"), 1.6)
        pen.line(x0, deck_y - 26, x0 + d, deck_y - 26, _state(seen, "guard"), 1.2)


def _marks(
    pen: Pen, numbered: Mapping[int, Concern], element_of: Mapping[str, str], anchors: Anchors
) -> None:
    taken: list[tuple[float, float]] = []
    for number, one in numbered.items():
        if one.status == "repaired":
            continue
        point = place_point(one.place, element_of_concern(one, element_of), anchors)
        x, y = spread(point, taken, PLAN[0] + PLAN[2])
        pen.mark(x, y, shape_key(one.tier), number, possible=one.standing == "possible")


def _notes(pen: Pen, size: Measures) -> None:
    y = HEIGHT - 30
    x = 16.0
    for state, words in STATE_WORDS.items():
        pen.line(x, y - 4, x + 30, y - 4, state, 1.8)
        pen.text(x + 36, y, words, size=11.5)
        x += 66 + 6.5 * len(words)
    pen.text(16, y + 20, _scale_note(size), size=11.5)


def _scale_note(size: Measures) -> str:
    if not size.assumed:
        return "Drawn to the stated sizes, plan and section each in its own scale. Members are not to scale."
    return f"Not to scale: not known: {and_list(size.assumed)}."


def _row(first: float, last: float, count: int) -> tuple[float, ...]:
    if count < 2:
        return ((first + last) / 2,)
    return tuple(first + (last - first) * index / (count - 1) for index in range(count))


def _state(seen: Mapping[str, str], element: str) -> str:
    return seen.get(element, "not-seen")


def _anchors(
    joists: tuple[float, ...], posts: tuple[float, ...], box: tuple[float, float, float, float], beam_y: float
) -> Anchors:
    left, top, w, d = box
    middle = left + w * 0.42
    points = {
        "ledger": (middle, top),
        "band": (left + w * 0.7, top),
        "flashing": (left + w * 0.2, top - 12),
        "hanger": (left + w * 0.3, top + 12),
        "connector": (left + w * 0.55, top + 12),
        "hold-down": (left + w * 0.85, top + 12),
        "joist": (middle, top + d * 0.45),
        "beam": (middle, beam_y),
        "post": (posts[0], beam_y),
        "footing": (posts[-1], beam_y),
        "brace": (left + w * 0.7, beam_y),
        "decking": (left + w * 0.7, top + d * 0.6),
        "guard": (left + w * 0.2, top + d),
        "guard-post": (left + w * 0.4, top + d),
        "stair": (left + w * 0.62 + 14, top + d + 18),
        "stringer": (left + w * 0.62 + 14, top + d + 26),
        "whole-deck": (left + w * 0.5, top + d * 0.3),
    }
    return Anchors(joists, posts, top + 12, beam_y, points, (left + w * 0.5, top + d * 0.7))
