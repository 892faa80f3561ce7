"""Ledger, joists, beam, posts, decking: the load path, built from a layout."""

from __future__ import annotations

import numpy as np

from .hardware import bolt, hanger, hanger_points, nail, rust_material
from .layout import BOARD_THICK_M, BOARD_WIDE_M, Layout
from .meshes import Feature, Scene, disc, lumber
from .params import DeckParams
from .units import IN

OUT = np.array([0.0, 1.0, 0.0])
BACK = np.array([0.0, -1.0, 0.0])
PLY_M = 1.5 * IN


def joists(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Joists with what carries their house end, and the rim that closes them."""
    for j, x in enumerate(plan.joist_x):
        lost = j in deck.missing_hangers
        gap = deck.missing_gap_in * IN if lost else float(scene.rng("gap", j).uniform(0.0015, 0.004))
        half = plan.joist_thick / 2
        lumber(
            scene,
            f"joist-{j}",
            "joist",
            [x - half, plan.ledger_face + gap, plan.joist_bottom],
            [x + half, plan.depth, plan.joist_top],
            tilt=0.0006,
        )
        if lost:
            _toe_nailed(scene, plan, j, gap)
        elif deck.joist_bearing == "hanger":
            hanger(scene, deck, plan, j)
    lumber(
        scene,
        "rim",
        "rim",
        [0, plan.depth, plan.joist_bottom],
        [plan.width, plan.depth + PLY_M, plan.joist_top],
    )
    if deck.joist_bearing == "ledger-strip":
        _ledger_strip(scene, plan)


def _toe_nailed(scene: Scene, plan: Layout, joist: int, gap: float) -> None:
    """Toe nails where a hanger should be; the feature keeps the places that the hanger would have covered."""
    x, rng = float(plan.joist_x[joist]), scene.rng("toe", joist)
    for side in (-1, 1):
        for k in range(2):
            at = [
                x + side * plan.joist_thick / 2,
                plan.ledger_face + gap + rng.uniform(0.02, 0.035),
                plan.joist_bottom + plan.joist_high * (0.22 + 0.34 * k + rng.uniform(-0.04, 0.04)),
            ]
            nail(scene, f"toe-nails-{joist}", np.array(at), np.array([side, -0.5, 0.0]), "nail-steel")
    points, normals = hanger_points(plan, joist, plan.joist_high * 0.78)
    flanges = normals[:, 1] > 0  # what the ledger would show of a hanger: there the bare ledger must be seen
    stands_on = ("ledger", f"toe-nails-{joist}", "stain")
    scene.features.append(
        Feature("missing-hanger", f"hanger-{joist}", 1.0, points[flanges], normals[flanges], stands_on)
    )


def _ledger_strip(scene: Scene, plan: Layout) -> None:
    low = [0, plan.ledger_face, plan.joist_bottom - PLY_M]
    lumber(
        scene,
        "ledger-strip",
        "ledger-strip",
        low,
        [plan.width, plan.ledger_face + PLY_M, plan.joist_bottom - 0.0005],
    )
    rng = scene.rng("strip-nails")
    for x in np.arange(0.1, plan.width, 0.16):
        at = [
            x + rng.normal(0, 0.01),
            plan.ledger_face + PLY_M,
            plan.joist_bottom - PLY_M * rng.uniform(0.35, 0.65),
        ]
        nail(scene, "strip-nails", np.array(at), OUT, "galvanised")


def ledger(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """The ledger board and what holds it to the house."""
    lumber(
        scene,
        "ledger",
        "ledger",
        [0, plan.ledger_back, plan.ledger_bottom],
        [plan.width, plan.ledger_face, plan.joist_top],
    )
    (_ledger_bolts if deck.ledger_fastener == "bolt" else _ledger_nails)(scene, deck, plan)


def _ledger_bolts(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    high = plan.joist_top - plan.ledger_bottom
    keep_off = plan.joist_thick / 2 + 0.060
    for i, x in enumerate(np.arange(0.16, plan.width - 0.05, deck.ledger_bolt_spacing_in * IN)):
        rng = scene.rng("ledger-bolt", i)
        x = float(x + rng.normal(0, 0.01))
        nearest = plan.joist_x[np.argmin(np.abs(plan.joist_x - x))]
        if abs(x - nearest) < keep_off:
            x = float(nearest + (keep_off if x >= nearest else -keep_off))
        level = plan.ledger_bottom + (0.055 if i % 2 else high - 0.062) + rng.normal(0, 0.004)
        severity = deck.bolt_rust * float(rng.uniform(0.8, 1.0)) if i % 3 != 2 else 0.0
        metal = rust_material(severity, False, False)
        bolt(
            scene,
            f"ledger-bolt-{i}",
            np.array([x, plan.ledger_face, level]),
            OUT,
            metal,
            severity,
            "ledger-bolt",
        )


def _ledger_nails(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    high = plan.joist_top - plan.ledger_bottom
    for j in range(len(plan.joist_x) - 1):
        rng = scene.rng("ledger-nails", j)
        left, right = plan.joist_x[j] + 0.075, plan.joist_x[j + 1] - 0.075
        for k in range(int(rng.integers(3, 6))):
            at = np.array(
                [
                    rng.uniform(left, right),
                    plan.ledger_face,
                    plan.ledger_bottom + high * rng.uniform(0.15, 0.85),
                ]
            )
            name = f"ledger-nails-{j}"
            nail(scene, name, at, OUT, "nail-steel", 0.0054, "ledger-nail")
            scene.features.append(
                Feature("ledger-nail", f"{name}.{k}", 1.0, at[None] + OUT * 0.003, OUT[None], (name,), 0.0054)
            )


def beam_and_posts(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """The beam and its posts: seated in a notch, on top of the post, or merely bolted to its side."""
    half, y = plan.post_width / 2, plan.beam_y
    if deck.beam_bearing == "side-bolted":
        faces = [(y - half - PLY_M, y - half), (y + half, y + half + PLY_M)][: deck.beam_plies]
    else:
        start = y - half if deck.beam_bearing == "notched" else y - PLY_M * deck.beam_plies / 2
        faces = [
            (start + (PLY_M + 0.0007) * k, start + (PLY_M + 0.0007) * k + PLY_M)
            for k in range(deck.beam_plies)
        ]
    for k, (near, far) in enumerate(faces):
        lumber(
            scene,
            "beam",
            "beam",
            [-0.02, near, plan.beam_bottom],
            [plan.width + 0.02, far, plan.beam_top],
            tilt=0.0003,
            key=k,
        )
    for i, x in enumerate(plan.post_x):
        _post(scene, deck, plan, i, float(x), faces)
        disc(
            scene,
            f"footing-{i}",
            "footing",
            "concrete",
            np.array([x, y, -0.05]),
            np.array([0, 0, 1.0]),
            0.16,
            0.11,
            sides=32,
        )


def _post(
    scene: Scene, deck: DeckParams, plan: Layout, i: int, x: float, faces: list[tuple[float, float]]
) -> None:
    half, y, name = plan.post_width / 2, plan.beam_y, f"post-{i}"
    low = [x - half, y - half, 0.06]
    metal = rust_material(deck.bolt_rust, False, False)
    levels = ((plan.beam_bottom + 0.065, -0.02), (plan.beam_top - 0.075, 0.02))
    if deck.beam_bearing == "side-bolted":
        lumber(scene, name, "post", low, [x + half, y + half, plan.beam_top - 0.005], bevel=0.005)
    else:
        gap = 0.001 if deck.post_seated else 0.016
        lumber(scene, name, "post", low, [x + half, y + half, plan.beam_bottom - gap], bevel=0.005)
    if deck.beam_bearing == "notched":
        lumber(
            scene,
            name,
            "post",
            [x - half, faces[-1][1] + 0.001, plan.beam_bottom - 0.0012],
            [x + half, y + half, plan.beam_top - 0.006],
            key="tongue",
        )
    ends = [(faces[0][0], BACK, "near")]
    ends.append((y + half if deck.beam_bearing == "notched" else faces[-1][1], OUT, "far"))
    if deck.beam_bearing != "on-post":
        for face, normal, side in ends:
            for k, (level, dx) in enumerate(levels):
                bolt(
                    scene,
                    f"post-bolt-{i}-{side}-{k}",
                    np.array([x + dx, face, level]),
                    normal,
                    metal,
                    deck.bolt_rust,
                    "post-bolt",
                )
    rows = np.linspace(0.1, 0.9, 6)
    points = np.array(
        [
            [x + side * half, y, plan.beam_bottom + (plan.beam_top - plan.beam_bottom) * r]
            for r in rows
            for side in (-1, 1)
        ]
    )
    normals = np.array([[side, 0, 0] for _ in rows for side in (-1, 1)], float)
    stands_on = (name,) if deck.beam_bearing == "side-bolted" else ("beam", name)
    scene.features.append(
        Feature("beam-seat", name, float(deck.beam_bearing == "side-bolted"), points, normals, stands_on)
    )


def decking(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Deck boards with their screws; the first board keeps a gap to the wall."""
    gap = 0.011 if deck.look_alike == "shadow" else 0.006  # through wide gaps the sun draws stripes below
    y, k = plan.ledger_back + 0.030, 0
    while y < plan.depth + 0.05:
        rng = scene.rng("decking", k)
        low = [-0.025 + rng.uniform(-0.004, 0.004), y, plan.joist_top + 0.0015]
        lumber(
            scene,
            "decking",
            "decking",
            low,
            [plan.width + 0.025, y + BOARD_WIDE_M, plan.joist_top + BOARD_THICK_M],
            material="wood-deck",
            bevel=0.004,
            jitter=0.0008,
            tilt=0.0003,
            key=k,
        )
        for x in plan.joist_x:
            for dy in (0.03, BOARD_WIDE_M - 0.03):
                at = [x + rng.normal(0, 0.003), y + dy, plan.joist_top + BOARD_THICK_M - 0.0004]
                disc(
                    scene,
                    "deck-screws",
                    "screw",
                    "screw",
                    np.array(at),
                    np.array([0, 0, 1.0]),
                    0.0042,
                    0.0008,
                    sides=9,
                )
        y += BOARD_WIDE_M + gap
        k += 1
