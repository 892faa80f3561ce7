"""The house behind the deck: foundation, lap siding, flashing, a window and a door, the eaves."""

from __future__ import annotations

import numpy as np

from .layout import SHEATHING_FACE_M, SIDING_FACE_M, Layout
from .meshes import Feature, Scene, block, prism
from .params import DeckParams
from .units import IN

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
SIDE_M = 7.0


def wall(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Foundation, sheathing and siding; under a house cantilever the foundation stands back."""
    width, back = plan.width, plan.cantilever
    block(
        scene,
        "foundation",
        "foundation",
        [-SIDE_M, -0.25 - back, -0.5],
        [width + SIDE_M, -back, plan.foundation_top],
        "concrete",
        0.004,
    )
    block(
        scene,
        "sheathing",
        "wall",
        [-SIDE_M, -0.25, plan.foundation_top],
        [width + SIDE_M, SHEATHING_FACE_M - 0.0005, plan.deck_top + 3.0],
        "sheathing",
    )
    if back:
        block(
            scene,
            "soffit-below",
            "wall",
            [-SIDE_M, -back - 0.1, plan.foundation_top - 0.012],
            [width + SIDE_M, SHEATHING_FACE_M, plan.foundation_top],
            "trim",
        )
    _siding(scene, deck, plan)


def _siding(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Lap siding, cut out around the ledger unless the ledger was put on top of it."""
    rise, bottom, i = deck.siding_exposure_in * IN, plan.foundation_top - 0.025, 0
    hole = (plan.ledger_bottom - 0.004, plan.deck_top + 0.030)
    while bottom < plan.deck_top + 2.8:
        top = bottom + rise + 0.018
        if deck.ledger_on == "siding" or top <= hole[0] or bottom >= hole[1]:
            _course(scene, i, bottom, top, bottom, -SIDE_M, plan.width + SIDE_M)
        else:
            _course(scene, i, bottom, top, bottom, -SIDE_M, -0.030)
            _course(scene, i, bottom, top, bottom, plan.width + 0.030, plan.width + SIDE_M)
            if hole[0] - bottom > 0.012:
                _course(scene, i, bottom, min(hole[0], top), bottom, -0.030, plan.width + 0.030)
            if top - hole[1] > 0.012:
                _course(scene, i, max(hole[1], bottom), top, bottom, -0.030, plan.width + 0.030)
        bottom, i = bottom + rise, i + 1


def _course(scene: Scene, i: int, low: float, high: float, lap: float, left: float, right: float) -> None:
    """One course between two heights; it leans back from the lap's lower edge."""
    thick = SIDING_FACE_M - SHEATHING_FACE_M

    def face(z: float) -> float:
        return SHEATHING_FACE_M + thick - 0.011 * (z - lap) / 0.16

    outline = [
        (SHEATHING_FACE_M - 0.004, low),
        (face(low), low),
        (face(high), high),
        (SHEATHING_FACE_M - 0.004, high),
    ]
    prism(scene, "siding", "siding", "siding", outline, right - left, [left, 0.0, 0.0], Y, Z)


def flashing(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Flashing over the ledger, or laid over the decking instead, or none at all."""
    back, face, top, width = SHEATHING_FACE_M + 0.0006, plan.ledger_face, plan.joist_top, plan.width
    if deck.ledger_on == "siding":
        back = SIDING_FACE_M + 0.0006
    if deck.flashing == "over-ledger":
        block(
            scene,
            "flashing",
            "flashing",
            [-0.01, back, top],
            [width + 0.01, back + 0.0012, plan.deck_top + 0.065],
            "flashing",
            0.0003,
        )
        block(
            scene,
            "flashing",
            "flashing",
            [-0.01, back, top + 0.0005],
            [width + 0.01, face + 0.004, top + 0.0016],
            "flashing",
            0.0003,
        )
        block(
            scene,
            "flashing",
            "flashing",
            [-0.01, face + 0.003, top - 0.022],
            [width + 0.01, face + 0.0042, top + 0.0016],
            "flashing",
            0.0003,
        )
    x = np.linspace(0.05, width - 0.05, 60)
    line = np.stack([x, np.full(60, plan.ledger_back + 0.012), np.full(60, plan.deck_top + 0.012)], 1)
    around = ("flashing", "siding", "decking", "debris", "litter", "sheathing", "ledger", "stray")
    scene.features.append(
        Feature("flashing-line", "flashing", 0.0, line, np.tile([0, 0, 1.0], (60, 1)), around)
    )
    if deck.flashing == "over-decking":
        level = plan.deck_top + 0.003
        block(
            scene,
            "flashing",
            "flashing",
            [-0.01, back, level],
            [width + 0.01, back + 0.0012, level + 0.070],
            "flashing",
            0.0003,
        )
        block(
            scene,
            "flashing",
            "flashing",
            [-0.01, back, level],
            [width + 0.01, back + 0.110, level + 0.0012],
            "flashing",
            0.0003,
        )


def openings(scene: Scene, plan: Layout) -> None:
    """A window, a door, corner boards, eaves and roof: what a whole-deck photo shows."""
    width, top = plan.width, plan.deck_top
    _opening(scene, width * 0.12, width * 0.12 + 0.9, top + 0.9, top + 2.0)
    _opening(scene, width * 0.55, width * 0.55 + 0.86, top + 0.06, top + 2.05)
    eaves = [(-0.2, top + 2.72), (0.48, top + 2.72), (0.48, top + 2.9), (0.40, top + 2.9), (-0.2, top + 3.2)]
    prism(scene, "eaves", "house", "trim", eaves, width + 2 * SIDE_M + 0.6, [-SIDE_M - 0.3, 0, 0], Y, Z)
    roof = [(0.50, top + 2.86), (0.52, top + 2.89), (-3, top + 4.4), (-3, top + 4.35)]
    prism(scene, "roof", "house", "shingle", roof, width + 2 * SIDE_M + 0.7, [-SIDE_M - 0.35, 0, 0], Y, Z)
    for x in (-SIDE_M - 0.02, width + SIDE_M - 0.07):
        block(
            scene,
            "corner",
            "house",
            [x, -0.05, plan.foundation_top - 0.02],
            [x + 0.09, 0.035, top + 2.75],
            "trim",
            0.002,
        )


def _opening(scene: Scene, left: float, right: float, low: float, high: float) -> None:
    block(scene, "glass", "house", [left, 0.012, low], [right, 0.030, high], "glass")
    middle = (low + high) / 2
    for x0, z0, x1, z1 in (
        (left - 0.09, low, left, high),
        (right, low, right + 0.09, high),
        (left - 0.09, high, right + 0.09, high + 0.1),
        (left - 0.1, low - 0.06, right + 0.1, low),
        (left, middle - 0.02, right, middle + 0.02),
    ):
        block(scene, "frame", "house", [x0, 0.0, z0], [x1, 0.048, z1], "trim", 0.002)


def truck(scene: Scene, at: tuple[float, float]) -> None:
    """A plain pickup made of a few outlines: what a real card also holds."""
    x, y = at
    body = [
        (0, 0.55),
        (0.05, 0.95),
        (1.5, 1.0),
        (2.1, 1.55),
        (3.35, 1.55),
        (3.6, 1.0),
        (5.3, 1.0),
        (5.35, 0.55),
    ]
    prism(scene, "truck", "truck", "car-paint", body, 1.75, [x, y, 0.0], X, Z)
    for side in (0.01, -1.76):
        prism(
            scene,
            "truck",
            "truck",
            "glass",
            [(2.15, 1.05), (2.4, 1.46), (3.2, 1.46), (3.4, 1.05)],
            0.012,
            [x, y + side, 0.0],
            X,
            Z,
        )
        for centre in (1.0, 4.3):
            angle = np.linspace(0, 2 * np.pi, 28, endpoint=False)
            for radius, material, extra in ((0.37, "rubber", 0.0), (0.2, "galvanised", 0.012)):
                ring = [(centre + radius * np.cos(a), 0.37 + radius * np.sin(a)) for a in angle]
                prism(
                    scene,
                    "truck",
                    "truck",
                    material,
                    ring,
                    0.22 + 2 * extra,
                    [x, y + side * 0.98 + 0.11 + extra, 0.0],
                    X,
                    Z,
                )
    block(scene, "truck", "truck", [x + 5.2, y - 1.6, 0.7], [x + 5.37, y - 0.15, 0.85], "trim", 0.02)
