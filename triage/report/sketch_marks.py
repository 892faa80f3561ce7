"""Where on the sketch a concern is marked: from the place in words, else from its element."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

Point = tuple[float, float]
_NUMBERED = re.compile(
    r"\b(joist|hanger|post)s?\s+(\d{1,3})(?:\s+of\s+(\d{1,3}))?(?:\s+from\s+the\s+(left|right))?"
)
_AT_LEDGER = ("hanger", "connector", "ledger", "flashing")
STEP = 26.0
"""Marks that would cover each other are moved aside by so much."""


@dataclass(frozen=True)
class Anchors:
    """Points of the plan: x of every joist and post, y of ledger and beam, and a point per element."""

    joist_x: tuple[float, ...]
    post_x: tuple[float, ...]
    ledger_y: float
    beam_y: float
    elements: Mapping[str, Point]
    margin: Point


def place_point(place: str | None, element: str, anchors: Anchors) -> Point:
    """Return where a concern is marked in the plan.

    'joist 4 of 14 from the left, facing the house, house side' is read: left is left for a person who faces
    the house, which is drawn at the top. A count in words that differs from the drawing's is scaled.
    """
    words = (place or "").lower()
    found = _NUMBERED.search(words)
    if found:
        kind, number, of, side = found.groups()
        row = anchors.post_x if kind == "post" else anchors.joist_x
        x = _along(row, int(number), int(of) if of else len(row), side == "right")
        if x is not None:
            return (x, _across(kind, words, element, anchors))
    return anchors.elements.get(element, anchors.margin)


def spread(point: Point, taken: list[Point], right_edge: float) -> Point:
    """Return the point, moved right (then down) until it covers none of those already taken."""
    x, y = point
    start = x
    for _ in range(200):
        if all(abs(x - tx) >= STEP or abs(y - ty) >= 17 for tx, ty in taken):
            break
        x += STEP
        if x > right_edge:
            x, y = start, y + 18
    taken.append((x, y))
    return (x, y)


def _along(row: tuple[float, ...], number: int, of: int, from_right: bool) -> float | None:
    if not row or not 1 <= number <= of:
        return None
    share = (number - 1) / (of - 1) if of > 1 else 0.5
    at = row[0] + (row[-1] - row[0]) * share
    return row[0] + row[-1] - at if from_right else at


def _across(kind: str, words: str, element: str, anchors: Anchors) -> float:
    if kind == "post" or "beam side" in words or "beam" in element:
        return anchors.beam_y
    if "house side" in words or "house end" in words or element in _AT_LEDGER:
        return anchors.ledger_y
    return (anchors.ledger_y + anchors.beam_y) / 2
