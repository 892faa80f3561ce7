"""The yard: uneven soil and turf, stones, fallen leaves, grass, a fence and what grows behind it."""

from __future__ import annotations

import numpy as np

from .layout import Layout
from .litter import leaf
from .meshes import Part, Scene, block, chamfer_box, join, lumber, turn

STEP = 400


class Ground:
    """The height of the ground around a deck."""

    def __init__(self, scene: Scene, plan: Layout) -> None:
        """Raise a gently uneven surface over the yard; heights in metres on a grid."""
        self.x = np.linspace(-4, plan.width + 4, STEP)
        self.y = np.linspace(-plan.cantilever, plan.depth + 10, STEP)
        gx, gy = np.meshgrid(self.x, self.y)
        rng, frequency, z = scene.rng("ground"), 1.3, np.zeros_like(gx)
        for i in range(6):
            a, b = rng.uniform(0, 6.3, 2)
            z += np.sin(gx * frequency * np.cos(a) + gy * frequency * np.sin(a) + b) * 0.5 ** (i / 2)
            frequency *= 1.55
        self.z = z * 0.018

    def height(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Height at places, metres (nearest grid point)."""
        i = np.clip(np.searchsorted(self.x, x), 0, STEP - 1)
        j = np.clip(np.searchsorted(self.y, y), 0, STEP - 1)
        return self.z[j, i]


def outside_m(plan: Layout, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """How far places lie outside the bare patch under the deck, metres; negative on it. Its edge wanders."""
    wander = 0.12 * np.sin(2.9 * x + 1.7 * np.sin(1.3 * y)) + 0.09 * np.sin(4.7 * y + 2.1 * np.sin(1.9 * x))
    beside = np.maximum(-0.4 - x, x - plan.width - 0.4)
    return np.maximum(beside, y - plan.depth - 0.35) + wander


def ground(scene: Scene, plan: Layout) -> Ground:
    """Bare soil under the deck, turf around it, stones and fallen leaves on it."""
    land = Ground(scene, plan)
    gx, gy = np.meshgrid(land.x, land.y)
    corners = np.stack([gx.ravel(), gy.ravel(), land.z.ravel()], 1)
    first = (np.arange(STEP - 1)[:, None] * STEP + np.arange(STEP - 1)).ravel()
    faces = np.stack([first, first + 1, first + STEP + 1, first + STEP], 1)
    bare = outside_m(plan, corners[first, 0], corners[first, 1]) < 0
    for name, chosen in (("soil", bare), ("turf", ~bare)):
        scene.add(Part(name, "ground", name, corners, [faces[chosen]], corners.copy()))
    block(scene, "far", "ground", [-300, -300, -0.6], [300, 300, -0.09], "turf")
    rng = scene.rng("stones")
    stones = []
    for _ in range(220):
        points, shape = chamfer_box(np.ones(3), 0.3)
        size = rng.lognormal(-4.2, 0.5)
        points = points * size * rng.uniform(0.6, 1.3, 3) + rng.normal(0, size * 0.06, points.shape)
        x, y = rng.uniform(-0.4, plan.width + 0.4), rng.uniform(0, plan.depth + 0.4)
        points = points @ turn("z", rng.uniform(0, 6)).T + [x, y, land.height(x, y)]
        stones.append((points, shape, points.copy()))
    join(scene, "stones", "ground", "stone", stones)
    fallen = []
    for _ in range(150):
        x, y = rng.uniform(-0.6, plan.width + 0.6), rng.uniform(0, plan.depth + 1.5)
        facing = turn("z", rng.uniform(0, 6.3)) @ turn("x", rng.normal(0, 0.4))
        fallen.append(leaf(rng, np.array([x, y, land.height(x, y) + 0.012]), facing, rng.uniform(0.03, 0.07)))
    join(scene, "ground-leaves", "ground", "leaf", fallen)
    return land


def _placements(
    x: np.ndarray, y: np.ndarray, z: np.ndarray, turned: np.ndarray, size: np.ndarray
) -> np.ndarray:
    """Placement matrices (n, 4, 4) of upright copies."""
    out = np.tile(np.eye(4), (len(x), 1, 1))
    c, s = np.cos(turned) * size, np.sin(turned) * size
    out[:, 0, 0], out[:, 0, 1], out[:, 1, 0], out[:, 1, 1], out[:, 2, 2] = c, -s, s, c, size
    out[:, 0, 3], out[:, 1, 3], out[:, 2, 3] = x, y, z
    return out


def grass(scene: Scene, plan: Layout, land: Ground, blades: int = 2200) -> None:
    """Patches of grass of 0.7 m, copied all over the turf."""
    rng = scene.rng("grass")
    x, y = rng.uniform(-0.35, 0.35, (2, blades))
    high, angle, wide = (
        rng.gamma(6, 0.011, blades),
        rng.uniform(0, 6.3, blades),
        rng.uniform(0.002, 0.0045, blades),
    )
    bx, by = np.cos(angle) * wide, np.sin(angle) * wide
    lx, ly = rng.normal(0, 0.03, (2, blades))
    zero = np.zeros(blades)
    rows = [
        (x - bx, y - by, zero - 0.01),
        (x + bx, y + by, zero - 0.01),
        (x + bx * 0.7 + lx * 0.4, y + by * 0.7 + ly * 0.4, high * 0.6),
        (x - bx * 0.7 + lx * 0.4, y - by * 0.7 + ly * 0.4, high * 0.6),
        (x + lx, y + ly, high),
    ]
    corners = np.stack([np.stack(r, 1) for r in rows], 1).reshape(-1, 3)
    q = 5 * np.arange(blades)
    faces = [np.stack([q, q + 1, q + 2, q + 3], 1), np.stack([q + 3, q + 2, q + 4], 1)]
    patch = Part("grass", "grass", "grass", corners, faces, corners.copy())
    px, py = np.meshgrid(np.arange(-4, plan.width + 4, 0.55), np.arange(0.2, plan.depth + 9, 0.55))
    px, py = px.ravel() + rng.normal(0, 0.06, px.size), py.ravel() + rng.normal(0, 0.06, py.size)
    away = outside_m(plan, px, py)
    px, py, away = px[away > 0.04], py[away > 0.04], away[away > 0.04]
    scene.scattered.append(
        (
            patch,
            _placements(
                px,
                py,
                land.height(px, py),
                rng.uniform(0, 6.3, len(px)),
                rng.uniform(0.6, 1.25, len(px)) * np.clip(0.4 + away, 0, 1),  # low at the edge
            ),
        )
    )


def _crown(scene: Scene, name: str, leaves: int, big: float) -> Part:
    """A round crown of leaves about the height 0, radius 1."""
    rng, items = scene.rng("crown", name), []
    for _ in range(leaves):
        way = rng.normal(0, 1, 3)
        way /= np.linalg.norm(way)
        lumpy = 1 + 0.22 * np.sin(4 * way[0]) + 0.2 * np.sin(5 * way[1] + 2) + 0.2 * np.sin(6 * way[2])
        facing = (
            turn("z", rng.uniform(0, 6.3))
            @ turn("x", rng.uniform(-1.2, 1.2))
            @ turn("y", rng.uniform(-1.2, 1.2))
        )
        items.append(leaf(rng, way * rng.uniform(0.4, 1) ** 0.5 * lumpy, facing, rng.uniform(0.6, 1.2) * big))
    part = join(scene, name, "plant", "bush", items)
    assert part is not None  # there are leaves
    scene.parts.remove(part)
    return part


def backdrop(scene: Scene, plan: Layout) -> None:
    """A board fence on three sides, trees behind it, shrubs at the house: no bare horizon anywhere."""
    rng, far = scene.rng("backdrop"), plan.depth + 8.0
    lower, upper = plan.width / 2 - 15, plan.width / 2 + 15
    for x in np.arange(lower, upper, 0.144):
        lumber(
            scene,
            "fence",
            "fence",
            [x, far, 0.05],
            [x + 0.138, far + 0.018, 1.8 + rng.normal(0, 0.006)],
            material="wood-fence",
            jitter=0.002,
            key=round(float(x), 3),
        )
    for side in (lower, upper):
        for y in np.arange(-2.0, far, 0.144):
            lumber(
                scene,
                "fence",
                "fence",
                [side, y, 0.05],
                [side + 0.018, y + 0.138, 1.8 + rng.normal(0, 0.006)],
                material="wood-fence",
                jitter=0.002,
                key=(side, round(float(y), 3)),
            )
    tree = _crown(scene, "tree", 5000, 0.085)
    x = np.concatenate(
        [np.linspace(lower - 6, upper + 6, 12), np.full(5, lower - 4), np.full(5, upper + 4)]
    ) + rng.normal(0, 0.8, 22)
    y = np.concatenate([far + rng.uniform(2.5, 8, 12), np.linspace(-6, far, 5), np.linspace(-6, far, 5)])
    size = rng.uniform(1.9, 3.4, 22)
    scene.scattered.append(
        (tree, _placements(x, y, size * rng.uniform(0.75, 1.3, 22), rng.uniform(0, 6.3, 22), size))
    )
    shrub = _crown(scene, "shrub", 1600, 0.1)
    x = np.array([-1.5, plan.width + 1.3, plan.width + 2.7])
    scene.scattered.append(
        (
            shrub,
            _placements(
                x, np.full(3, 0.8), np.full(3, 0.45), rng.uniform(0, 6.3, 3), rng.uniform(0.55, 0.8, 3)
            ),
        )
    )
