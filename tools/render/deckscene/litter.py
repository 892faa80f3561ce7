"""What lies, hangs and runs on a deck: leaves, needles, heaps, streaks, cobwebs."""

from __future__ import annotations

import numpy as np

from .layout import Layout
from .meshes import Faces, Feature, Part, Scene, join, turn
from .params import DeckParams

Item = tuple[np.ndarray, Faces, np.ndarray]


def leaf(rng: np.random.Generator, centre: np.ndarray, facing: np.ndarray, size: float) -> Item:
    """One curled leaf of `size` metres."""
    n = 7
    along = np.linspace(0, 1, n)
    wide = np.sin(np.pi * along**0.8) * 0.5 * rng.uniform(0.7, 1.1)
    curl, cup = rng.normal(0, 0.5), rng.normal(0.25, 0.25)
    spine = np.c_[along - 0.5, np.zeros(n), curl * (along - 0.5) ** 2]
    left = spine + np.c_[np.zeros(n), wide * 0.6, cup * wide * 0.6]
    right = spine + np.c_[np.zeros(n), -wide * 0.6, cup * wide * 0.6]
    flat = np.vstack([spine, left, right])
    i = np.arange(n - 1)
    faces = np.vstack(
        [np.stack([i, i + 1, n + i + 1, n + i], 1), np.stack([i + 1, i, 2 * n + i, 2 * n + i + 1], 1)]
    )
    return flat * size @ facing.T + centre, [faces], flat


def needle(rng: np.random.Generator, centre: np.ndarray) -> Item:
    """One pine needle, 3 to 9 cm."""
    half, w = rng.uniform(0.015, 0.045), 0.0006
    facing = turn("z", rng.uniform(0, 6.3)) @ turn("y", rng.normal(0, 0.15))
    flat = np.array(
        [
            [-half, 0, w],
            [half, 0, w],
            [half, w, -w * 0.6],
            [-half, w, -w * 0.6],
            [half, -w, -w * 0.6],
            [-half, -w, -w * 0.6],
        ]
    )
    return flat @ facing.T + centre, [np.array([[0, 1, 2, 3], [1, 0, 5, 4]])], flat


def scatter(
    scene: Scene,
    name: str,
    kind: str,
    box: tuple[float, float, float, float],
    level: float,
    pile: float,
    leaves: int,
    needles: int,
) -> None:
    """Leaves and needles over (x0, x1, y0, y1), denser and higher towards the wall."""
    rng, (x0, x1, y0, y1) = scene.rng("scatter", name), box

    def spot() -> np.ndarray:
        y = y0 + (y1 - y0) * rng.beta(1.1, 2.2)
        return np.array(
            [rng.uniform(x0, x1), y, level + 0.003 + pile * max(0.0, 1 - (y - y0) / (y1 - y0)) * rng.random()]
        )

    fallen = []
    for _ in range(leaves):
        facing = (
            turn("z", rng.uniform(0, 6.3)) @ turn("x", rng.normal(0, 0.5)) @ turn("y", rng.normal(0, 0.45))
        )
        fallen.append(leaf(rng, spot(), facing, rng.uniform(0.022, 0.055)))
    join(scene, name, kind, "leaf", fallen)
    join(scene, name, kind, "needle", [needle(rng, spot()) for _ in range(needles)])


def _heap(scene: Scene, x0: float, x1: float, y0: float, y1: float, level: float, high: float) -> None:
    """A ragged bank of rotted litter against the wall."""
    rng = scene.rng("heap")
    nx, ny = max(8, int((x1 - x0) / 0.006)), 22
    x, y = np.meshgrid(np.linspace(x0, x1, nx), np.linspace(y0, y1, ny))
    ragged = sum(np.sin(x * f + rng.uniform(0, 6)) / f for f in (7, 13, 29, 61, 113)) * 6
    fall = np.clip(1 - (y - y0) / (y1 - y0) * (1.3 + 0.35 * ragged), -0.3, 1)
    z = level + high * fall * (0.75 + 0.25 * ragged) + rng.normal(0, 0.0012, x.shape) - 0.002
    corners = np.stack([x.ravel(), y.ravel(), z.ravel()], 1)
    first = (np.arange(ny - 1)[:, None] * nx + np.arange(nx - 1)).ravel()
    faces = np.stack([first, first + 1, first + nx + 1, first + nx], 1)
    scene.add(Part("debris", "debris", "humus", corners, [faces], corners.copy()))


def debris_at_wall(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Litter at the flashing: a few needles at 0.1, a rotting heap along the wall at 1."""
    level, wall = plan.deck_top, plan.ledger_back
    scatter(scene, "stray", "litter", (0.3, plan.width - 0.3, wall + 0.03, 0.9), level, 0.0, 14, 30)
    if deck.debris <= 0:
        return
    rng = scene.rng("debris")
    middle, half = plan.width * rng.uniform(0.42, 0.58), plan.width * (0.12 + 0.16 * deck.debris)
    x0, x1 = middle - half, middle + half
    if deck.debris >= 0.35:
        _heap(
            scene,
            x0,
            x1,
            wall + 0.002,
            wall + 0.06 + 0.08 * deck.debris,
            level - 0.004,
            0.006 + 0.022 * deck.debris,
        )
    crowd = deck.debris * (x1 - x0) / 1.4
    scatter(
        scene,
        "debris",
        "debris",
        (x0 - 0.05, x1 + 0.05, wall + 0.004, wall + 0.06 + 0.11 * deck.debris),
        level,
        0.004 + 0.020 * deck.debris,
        int(460 * crowd) if deck.debris >= 0.25 else 6,
        int(1000 * crowd),
    )
    x = np.linspace(x0, x1, 24)
    points = np.stack([x, np.full(24, wall + 0.02), np.full(24, level + 0.01)], 1)
    scene.features.append(
        Feature("debris", "debris", deck.debris, points, np.tile([0, 0, 1.0], (24, 1)), ("debris",))
    )


def streak(scene: Scene, material: str, x: float, y: float, z: float, wide: float, long: float) -> None:
    """A thin film that runs down a face from (x, z); its texture runs 0 to 1 across and down."""
    depth = y + 0.0006
    corners = np.array(
        [
            [x - wide / 2, depth, z],
            [x + wide / 2, depth, z],
            [x + wide / 2, depth, z - long],
            [x - wide / 2, depth, z - long],
        ]
    )
    texture = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0.0]])
    texture[:, 2] += scene.rng("streak", round(x, 3), round(z, 3)).uniform(0, 50)
    scene.add(Part("stain", "stain", material, corners, [np.array([[0, 3, 2, 1]])], texture))


def streaks(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Runs below rusted metal; tannin, clay splashes and dark nail halos where the deck has them."""
    face, foot = plan.ledger_face, plan.ledger_bottom
    if deck.rust_streaks:
        for j, severity in deck.rusted_hangers:
            rng, x = scene.rng("run", j), float(plan.joist_x[j])
            for dx in (-0.03, 0.03):
                streak(
                    scene,
                    "stain-rust",
                    x + dx,
                    face,
                    plan.joist_bottom + 0.035,
                    0.035,
                    0.035 + min(0.05 + 0.08 * severity * rng.random(), plan.joist_bottom - foot),
                )
            streak(
                scene, "stain-rust-faint", x, face, plan.joist_top - 0.02, 0.12, plan.joist_top - 0.02 - foot
            )
    for feature in list(scene.features):
        x, z = float(feature.points[:, 0].mean()), float(feature.points[:, 2].mean())
        if feature.kind == "ledger-bolt" and feature.severity > 0.3:
            streak(scene, "stain-rust", x, face, z + 0.012, 0.05, min(0.16, z + 0.012 - foot))
        if feature.kind == "ledger-nail":
            streak(scene, "stain-dark", x, face, z + 0.006, 0.015, min(0.05, z + 0.006 - foot))
    if deck.look_alike in ("tannin", "red-clay"):
        rng, clay = scene.rng("runs"), deck.look_alike == "red-clay"
        for x in rng.uniform(0.1, plan.width - 0.1, 14):
            wide, long = rng.uniform(0.03, 0.12), rng.uniform(0.06, 0.2)
            top = plan.ledger_bottom + long if clay else plan.joist_top - 0.02
            streak(
                scene,
                "stain-clay" if clay else "stain-tannin",
                float(x),
                face + 0.0004,
                float(min(top, plan.joist_top - 0.004)),
                wide,
                min(long, plan.joist_top - foot - 0.01),
            )


def cobwebs(scene: Scene, deck: DeckParams, plan: Layout) -> None:
    """Tangles in the corners between joists and ledger."""
    if deck.look_alike != "cobweb":
        return
    strands: list[Item] = []
    for j in range(0, len(plan.joist_x) - 1, 2):
        rng = scene.rng("web", j)
        x, y, z = float(plan.joist_x[j]) + 0.025, plan.ledger_face, plan.joist_bottom
        edges = np.array(
            [
                [[x, y + 0.01, z + 0.02], [x, y + 0.22, z + 0.1]],
                [[x + 0.03, y, z + 0.05], [x + 0.26, y, z + 0.16]],
                [[x + 0.03, y + 0.05, plan.joist_top], [x + 0.22, y + 0.2, plan.joist_top]],
            ]
        )
        strands += [_strand(rng, edges) for _ in range(30)]
    join(scene, "web", "web", "web", strands)


def _strand(rng: np.random.Generator, edges: np.ndarray) -> Item:
    a, b = rng.choice(3, 2, replace=False)
    start = edges[a, 0] + (edges[a, 1] - edges[a, 0]) * rng.random()
    end = edges[b, 0] + (edges[b, 1] - edges[b, 0]) * rng.random()
    t, n = np.linspace(0, 1, 7), 7
    path = start + (end - start) * t[:, None]
    path[:, 2] -= 0.24 * np.linalg.norm(end - start) * rng.random() * t * (1 - t)
    w = 0.00009 * rng.uniform(0.6, 1.6)
    tube = np.vstack([path + [w, 0, 0], path + [-w / 2, 0.8 * w, 0], path + [-w / 2, -0.4 * w, w]])
    faces = np.array(
        [
            [j * n + q, j * n + q + 1, ((j + 1) % 3) * n + q + 1, ((j + 1) % 3) * n + q]
            for j in range(3)
            for q in range(n - 1)
        ]
    )
    return tube, [faces], tube
