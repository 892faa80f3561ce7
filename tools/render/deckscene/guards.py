"""Guards and stairs."""

from __future__ import annotations

import math

import numpy as np

from .layout import Layout
from .meshes import Scene, lumber, prism
from .params import DeckParams
from .units import IN

POST_M = 3.5 * IN
STAIR_M = (0.25, 1.17)  # from the low x end


def guard_height_in(deck: DeckParams) -> float:
    """Height of the guard's top above the decking."""
    return 29.0 if deck.guard_fault == "low" else 38.0


def guard_gap_in(deck: DeckParams) -> float:
    """Clear opening between balusters."""
    return 6.0 if deck.guard_fault == "wide-gaps" else 3.5


def stairs_range(deck: DeckParams, plan: Layout) -> tuple[float, float] | None:
    """Where along x the stairs meet the deck's outer edge."""
    return (plan.width * 0.5 - 0.5, plan.width * 0.5 + 0.5) if deck.has_stairs else None


def guard(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Posts, rails, balusters and a cap along the three open sides."""
    top, high = plan.deck_top, guard_height_in(deck) * IN
    edge = plan.depth + 1.5 * IN
    opening = stairs_range(deck, plan)
    stations = np.linspace(0, plan.width, max(3, round(plan.width / 1.5) + 1))
    for x in [*stations, *(opening or ())]:
        lumber(
            scene,
            "guard-post",
            "guard-post",
            [x - POST_M / 2, edge, top - 0.2],
            [x + POST_M / 2, edge + POST_M, top + high - 0.026],
            key=round(float(x), 3),
        )
    for left, right in [(0.0, opening[0]), (opening[1], plan.width)] if opening else [(0.0, plan.width)]:
        _run(scene, deck, plan, left, right, 0)
    for x in (-POST_M, plan.width):
        for y in (0.35, plan.depth * 0.5):
            lumber(
                scene,
                "guard-post",
                "guard-post",
                [x, y, top - 0.2],
                [x + POST_M, y + POST_M, top + high - 0.026],
                key=(x, y),
            )
        _run(scene, deck, plan, 0.07, edge + POST_M / 2, -1 if x < 0 else 1)


def _run(scene: Scene, deck: DeckParams, plan: Layout, start: float, end: float, side: int) -> None:
    """Rails and balusters of one run: side 0 is the outer edge (along x), -1 and +1 the ends (along y)."""
    top, high, edge = plan.deck_top, guard_height_in(deck) * IN, plan.depth + 1.5 * IN
    rail, stick, pitch = 1.5 * IN, 1.4 * IN, (guard_gap_in(deck) + 1.4) * IN
    inner = edge + 0.020 if side == 0 else (-0.062 if side < 0 else plan.width + 0.026)

    def put(
        kind: str,
        a: float,
        b: float,
        n0: float,
        n1: float,
        low: float,
        up: float,
        wood: str = "wood",
        key: object = "",
    ) -> None:
        lo, hi = ([a, n0, low], [b, n1, up]) if side == 0 else ([n0, a, low], [n1, b, up])
        lumber(
            scene,
            "guard",
            kind,
            lo,
            hi,
            material=wood,
            tilt=0.002 if kind == "baluster" else 0.0,
            key=(side, start, key),
        )

    put("guard", start, end, inner, inner + rail, top + high - 0.115, top + high - 0.026, key="upper")
    put("guard", start, end, inner, inner + rail, top + 0.08, top + 0.17, key="lower")
    put(
        "guard",
        start - 0.03,
        end + 0.03,
        inner - 0.045,
        inner + 0.095,
        top + high - 0.026,
        top + high,
        "wood-deck",
        "cap",
    )
    outer = inner + rail if side >= 0 else inner - stick
    lost = {4, 5} if deck.guard_fault == "baluster-missing" and side == 0 else set()
    for i, q in enumerate(np.arange(start + 0.09, end - 0.04, pitch)):
        if i not in lost:
            put("baluster", q, q + stick, outer, outer + stick, top + 0.06, top + high - 0.03, key=i)


def stair_rises_in(deck: DeckParams) -> list[float]:
    """Heights of the steps from the top, inches; an uneven flight has one 1-1/4 in higher than the rest."""
    count = max(2, math.ceil(deck.height_ft * 12 / 7.6))
    rises = [deck.height_ft * 12 / count] * count
    if deck.stair_fault == "uneven-rise":
        rises = [r - 1.25 / (count - 1) for r in rises]
        rises[-1] += 1.25 + 1.25 / (count - 1)
    return rises


def stairs(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Three stringers with open treads down from the outer edge."""
    span = stairs_range(deck, plan)
    if span is None:
        return
    left, right, run, start = *span, 10.4 * IN, plan.depth + 1.5 * IN
    drops = np.cumsum(stair_rises_in(deck)) * IN
    levels = plan.deck_top - drops[:-1]
    outline = [(0.0, plan.joist_top)]
    for i, level in enumerate(levels):
        outline += [(i * run, level - 0.026), ((i + 1) * run, level - 0.026)]
    outline += [(len(levels) * run, 0.0), (len(levels) * run - 0.14, 0.0), (0.0, plan.joist_top - 0.42)]
    for x in (left + 0.02, (left + right) / 2 - 0.019, right - 0.058):
        prism(
            scene,
            "stringer",
            "stringer",
            "wood",
            outline,
            -1.5 * IN,
            [x + 1.5 * IN, start, 0],
            (0.0, 1.0, 0.0),
            (0.0, 0.0, 1.0),
        )
    for i, level in enumerate(levels):
        for k, q in enumerate((0.0, 0.138)):
            low = [left - 0.02, start + i * run - 0.018 + q, level - 0.026]
            high = [right + 0.02, start + i * run - 0.018 + q + 0.133, level]
            if deck.stair_fault == "loose-tread" and i == len(levels) // 2 and k == 1:
                low[0], high[0], low[1], high[1] = (
                    low[0] + 0.07,
                    high[0] + 0.07,
                    low[1] + 0.03,
                    high[1] + 0.03,
                )
            lumber(scene, "tread", "tread", low, high, material="wood-deck", key=(i, k))
