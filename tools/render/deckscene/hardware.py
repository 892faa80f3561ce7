"""Sheet-metal hangers, bolts and nails."""

from __future__ import annotations

import numpy as np

from .layout import Layout
from .meshes import Feature, Scene, block, disc, prism
from .params import DeckParams

SHEET_M = 0.0014
SEAT_DEPTH_M = 0.050
FLANGE_M = 0.034
NAIL_HEAD_M = 0.0050
Y, Z = (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def hanger_height(scene: Scene, plan: Layout, joist: int) -> float:
    """Height in metres of the hanger of a joist: at least 60 % of the joist's depth (IRC R507.6)."""
    return plan.joist_high * 0.78 * float(scene.rng("hanger-height", joist).uniform(0.98, 1.02))


def rust_material(severity: float, bloom: bool, black: bool) -> str:
    """Name of the metal: one rusted metal per tenth of severity."""
    if severity > 0:
        return f"rust-{max(1, round(severity * 10))}"
    return "black-coat" if black else ("zinc-bloom" if bloom else "galvanised")


def hanger(scene: Scene, deck: DeckParams, plan: Layout, joist: int) -> None:
    """A stirrup nailed to the ledger's face that carries one joist."""
    severity = deck.rust_of(joist)
    metal = rust_material(severity, deck.look_alike == "zinc-bloom", deck.hanger_style == "black-coated")
    x, y, z = float(plan.joist_x[joist]), plan.ledger_face, plan.joist_bottom
    half, high, name = plan.joist_thick / 2 + 0.0012, hanger_height(scene, plan, joist), f"hanger-{joist}"
    low = [x - half - SHEET_M, y, z - SHEET_M - 0.0005]
    block(scene, name, "hanger", low, [x + half + SHEET_M, y + SEAT_DEPTH_M, z - 0.0005], metal)
    for side in (-1, 1):
        _cheek(scene, name, metal, [x + half if side > 0 else x - half - SHEET_M, y, z], high)
        if deck.hanger_style != "concealed":
            _flange(scene, name, metal, x, y, z, half, high, side)
            _flange_nails(scene, deck, name, metal, np.array([x, y, z]), half, high, side)
        for i in range(2):
            at = [
                x + side * (half + SHEET_M),
                y + SEAT_DEPTH_M * (0.5 + 0.2 * i),
                z + high * (0.25 + 0.3 * i),
            ]
            nail(scene, name, np.array(at), np.array([side, 0, 0]), metal)
    points, normals = hanger_points(plan, joist, high)
    scene.features.append(Feature("hanger", name, severity, points, normals, (name,)))


def hanger_points(plan: Layout, joist: int, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 3) over a hanger's flanges and cheeks and their outward normals, be it there or not."""
    x, y, z = float(plan.joist_x[joist]), plan.ledger_face, plan.joist_bottom
    points, normals = [], []
    for side in (-1, 1):
        edge = x + side * (plan.joist_thick / 2 + 0.003)
        for level in np.linspace(0.08, 0.95, 8):
            for out in (0.2, 0.5, 0.8):
                points.append([edge + side * FLANGE_M * out, y + 0.002, z + high * level])
                normals.append([0, 1, 0])
                points.append([edge, y + SEAT_DEPTH_M * out, z + high * level * 0.8])
                normals.append([side, 0, 0])
    return np.array(points), np.array(normals, float)


def _cheek(scene: Scene, name: str, metal: str, origin: list[float], high: float) -> None:
    d = SEAT_DEPTH_M
    outline = [
        (0, -SHEET_M),
        (d, -SHEET_M),
        (d, high * 0.55),
        (d * 0.55, high * 0.8),
        (d * 0.42, high),
        (0, high),
    ]
    prism(scene, name, "hanger", metal, outline, SHEET_M, origin, Y, Z)


def _flange(
    scene: Scene, name: str, metal: str, x: float, y: float, z: float, half: float, high: float, side: int
) -> None:
    f = FLANGE_M
    outline = [(0, 0.006), (f * 0.75, 0.006), (f, 0.022), (f, high - 0.012), (f * 0.8, high), (0, high)]
    prism(
        scene,
        name,
        "hanger",
        metal,
        [(side * a, b) for a, b in outline],
        -SHEET_M,
        [x + side * half, y, z],
        (1.0, 0.0, 0.0),
        Z,
    )


def _flange_nails(
    scene: Scene,
    deck: DeckParams,
    name: str,
    metal: str,
    corner: np.ndarray,
    half: float,
    high: float,
    side: int,
) -> None:
    rng = scene.rng("flange", name, side)
    rows = 5
    for i in range(rows):
        level = corner[2] + 0.022 + (high - 0.04) * i / (rows - 1)
        filled = np.array(
            [corner[0] + side * (half + FLANGE_M * (0.62 if i % 2 else 0.36)), corner[1] + SHEET_M, level]
        )
        spare = filled + [side * FLANGE_M * (-0.26 if i % 2 else 0.34), 0, 0]
        if deck.hanger_nailing == "few" and i not in (1, 3):
            disc(scene, name, "hole", "hole", filled - [0, 0.0001, 0], np.array(Y), 0.0026, 0.0003, sides=10)
        elif deck.hanger_nailing == "screws":
            disc(scene, name, "screw", "screw", filled, np.array(Y), 0.0042, 0.0012, sides=12)
        else:
            nail(scene, name, filled, np.array(Y), metal)
        if rng.random() < 0.75:
            disc(scene, name, "hole", "hole", spare - [0, 0.0001, 0], np.array(Y), 0.0026, 0.0003, sides=10)


def nail(
    scene: Scene,
    name: str,
    centre: np.ndarray,
    normal: np.ndarray,
    metal: str,
    radius: float = NAIL_HEAD_M,
    kind: str = "nail",
) -> None:
    """A nail head, driven a little askew."""
    rng = scene.rng("nail", name, *np.round(centre, 4))
    askew = normal + rng.normal(0, 0.09, 3)
    disc(
        scene,
        name,
        kind,
        metal,
        centre - normal * 0.0004,
        askew,
        radius * rng.uniform(0.92, 1.05),
        0.0026,
        sides=14,
        dome=0.0006,
    )


def bolt(
    scene: Scene, name: str, centre: np.ndarray, normal: np.ndarray, metal: str, severity: float, kind: str
) -> None:
    """A hexagon head (or nut) of a 1/2 in bolt on its washer, as a feature of its own."""
    normal = np.asarray(normal, float)
    disc(scene, name, kind, metal, centre, normal, 0.022, 0.003, sides=28)
    disc(scene, name, kind, metal, centre + normal * 0.003, normal, 0.0105, 0.0085, sides=6, dome=0.0006)
    ring = np.array([[0.0, 0.0], [0.012, 0], [-0.012, 0], [0, 0.012], [0, -0.012]])
    helper = np.array([0, 0, 1.0])
    u = np.cross(helper, normal)
    points = centre + normal * 0.006 + ring[:, :1] * u + ring[:, 1:] * helper
    scene.features.append(Feature(kind, name, severity, points, np.tile(normal, (5, 1)), (name,), 0.022))
