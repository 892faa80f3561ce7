"""Meshes as plain arrays: boxes with chamfered edges, prisms, discs; parts and the scene that holds them.

Lengths in metres; x runs along the house wall, y away from it, z up.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field

import numpy as np

Faces = list[np.ndarray]  # each (m, k): m polygons of k corners


@dataclass
class Part:
    """One mesh: `component` is what truth knows it by, `local` are the coordinates its texture grows in."""

    component: str
    kind: str
    material: str
    vertices: np.ndarray
    faces: Faces
    local: np.ndarray
    tone: float = 0.5
    place: tuple[float, ...] = ()


@dataclass(frozen=True)
class Feature:
    """Something to look for in a photo: points on its visible side, and which components may stand there."""

    kind: str
    name: str
    severity: float
    points: np.ndarray
    normals: np.ndarray
    stands_on: tuple[str, ...]
    radius_m: float = 0.0


@dataclass
class Scene:
    """Parts, instanced parts with their placements, and the features that truth asks about."""

    seed: int
    parts: list[Part] = field(default_factory=list)
    features: list[Feature] = field(default_factory=list)
    scattered: list[tuple[Part, np.ndarray]] = field(default_factory=list)

    def rng(self, *key: object) -> np.random.Generator:
        """Random numbers that depend on seed and name alone, so that one part never disturbs another."""
        return np.random.default_rng([self.seed, zlib.crc32("/".join(map(str, key)).encode())])

    def tone(self, component: str) -> float:
        """One shade (0 to 1) for all pieces of a component that is not wood."""
        return float(self.rng("tone", component).random())

    def add(self, part: Part) -> Part:
        """Keep a part."""
        self.parts.append(part)
        return part


def turn(axis: str, angle: float) -> np.ndarray:
    """Rotation matrix about one axis, angle in radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array(
        {
            "x": [[1, 0, 0], [0, c, -s], [0, s, c]],
            "y": [[c, 0, s], [0, 1, 0], [-s, 0, c]],
            "z": [[c, -s, 0], [s, c, 0], [0, 0, 1]],
        }[axis]
    )


def _outward(corners: np.ndarray, faces: Faces) -> Faces:
    """Turn every face of a convex body around 0 so that its normal looks outwards."""
    turned = []
    for group in faces:
        a, b, c = (corners[group[:, i]] for i in range(3))
        inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), a + b + c) < 0
        turned.append(np.where(inward[:, None], group[:, ::-1], group))
    return turned


def _chamfer_faces() -> Faces:
    """Faces of the 24-corner chamfered box; corner index = 3 * octant + axis."""

    def corner(signs: tuple[int, ...], axis: int) -> int:
        return 3 * sum((s > 0) << i for i, s in enumerate(signs)) + axis

    quads, tris = [], []
    around = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    for axis in range(3):
        one, two = (a for a in range(3) if a != axis)
        for sign in (-1, 1):
            face = []
            for a, b in around:
                signs = [0, 0, 0]
                signs[axis], signs[one], signs[two] = sign, a, b
                face.append(corner(tuple(signs), axis))
            quads.append(face)
        for a, b in around:
            edge = []
            for sign, owner in ((-1, one), (1, one), (1, two), (-1, two)):
                signs = [0, 0, 0]
                signs[axis], signs[one], signs[two] = sign, a, b
                edge.append(corner(tuple(signs), owner))
            quads.append(edge)
    tris = [[3 * octant + axis for axis in range(3)] for octant in range(8)]
    return [np.array(quads), np.array(tris)]


_CHAMFER = _chamfer_faces()


def chamfer_box(size: np.ndarray, bevel: float) -> tuple[np.ndarray, Faces]:
    """Corners (24, 3) and faces of a box around 0 whose edges are cut by `bevel` metres."""
    half = np.asarray(size, float) / 2
    bevel = min(bevel, 0.45 * half.min())
    corners = np.empty((24, 3))
    for octant in range(8):
        signs = np.array([1.0 if octant >> i & 1 else -1.0 for i in range(3)])
        for axis in range(3):
            point = signs * (half - bevel)
            point[axis] = signs[axis] * half[axis]
            corners[3 * octant + axis] = point
    return corners, _outward(corners, _CHAMFER)


def lumber(
    scene: Scene,
    component: str,
    kind: str,
    low: list[float],
    high: list[float],
    *,
    material: str = "wood",
    bevel: float = 0.003,
    tilt: float = 0.0,
    jitter: float = 0.0,
    key: object = "",
) -> Part:
    """A sawn board between two corners; the pith of its growth rings lies at a random place beside it."""
    rng = scene.rng("board", component, kind, key)
    lo, hi = np.asarray(low, float), np.asarray(high, float)
    size = hi - lo
    vertices, faces = chamfer_box(size, bevel)
    along = int(np.argmax(size))
    across = sorted((a for a in range(3) if a != along), key=lambda a: -size[a])
    pith = [rng.uniform(0, 50), rng.uniform(-0.07, 0.07), rng.choice([-1, 1]) * rng.uniform(0.005, 0.065)]
    local = vertices[:, [along, *across]] + pith
    if tilt:
        names = "xyz"
        vertices = (
            vertices
            @ turn(names[across[1]], rng.normal(0, tilt)).T
            @ turn(names[along], rng.normal(0, 3 * tilt)).T
        )
    vertices = vertices + (lo + hi) / 2 + (rng.normal(0, jitter, 3) if jitter else 0)
    return scene.add(Part(component, kind, material, vertices, faces, local, rng.random()))


def block(
    scene: Scene,
    component: str,
    kind: str,
    low: list[float],
    high: list[float],
    material: str,
    bevel: float = 0.0005,
) -> Part:
    """A plain box between two corners."""
    rng = scene.rng("block", component, kind, *np.round(low, 4))
    lo, hi = np.asarray(low, float), np.asarray(high, float)
    vertices, faces = chamfer_box(hi - lo, bevel)
    vertices = vertices + (lo + hi) / 2
    return scene.add(
        Part(
            component, kind, material, vertices, faces, vertices + rng.uniform(0, 9, 3), scene.tone(component)
        )
    )


def prism(
    scene: Scene,
    component: str,
    kind: str,
    material: str,
    outline: list[tuple[float, float]],
    depth: float,
    origin: list[float],
    u: tuple[float, ...],
    v: tuple[float, ...],
) -> Part:
    """Push a flat outline, given in the axes u and v, `depth` metres along u x v."""
    rng = scene.rng("prism", component, kind, *np.round(origin, 4))
    shape = np.asarray(outline, float)
    area = np.sum(shape[:, 0] * np.roll(shape[:, 1], -1) - np.roll(shape[:, 0], -1) * shape[:, 1])
    if area < 0:
        shape = shape[::-1]
    ua, va = np.asarray(u, float), np.asarray(v, float)
    base = np.asarray(origin, float) + shape[:, :1] * ua + shape[:, 1:] * va
    push = np.cross(ua, va) * depth
    count = len(shape)
    ring = np.arange(count)
    after = (ring + 1) % count
    sides = np.stack([ring, after, count + after, count + ring], 1)
    caps = np.stack([ring[::-1], count + ring])
    if depth < 0:
        sides, caps = sides[:, ::-1], caps[:, ::-1]
    local = np.vstack([np.c_[shape, np.zeros(count)], np.c_[shape, np.full(count, depth)]])
    vertices = np.vstack([base, base + push])
    return scene.add(
        Part(
            component,
            kind,
            material,
            vertices,
            [sides, caps],
            local + rng.uniform(0, 9, 3),
            scene.tone(component),
        )
    )


def disc(
    scene: Scene,
    component: str,
    kind: str,
    material: str,
    centre: np.ndarray,
    normal: np.ndarray,
    radius: float,
    height: float,
    *,
    sides: int = 18,
    dome: float = 0.0,
) -> Part:
    """A round (or many-sided) head that stands on a surface: centre of its foot, outward normal."""
    centre, normal = np.asarray(centre, float), np.asarray(normal, float)
    rng = scene.rng("disc", component, kind, *np.round(centre, 4))
    normal = normal / np.linalg.norm(normal)
    helper = np.array([0, 0, 1.0]) if abs(normal[2]) < 0.9 else np.array([1.0, 0, 0])
    u = np.cross(helper, normal)
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    angle = np.arange(sides) / sides * 2 * np.pi + rng.uniform(0, 6)
    circle = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v
    edge = min(0.0006, height * 0.3)
    rings = [(radius, 0.0), (radius, height - edge), (radius - edge, height)]
    if dome:
        rings += [(radius * 0.6, height + dome * 0.7), (radius * 0.2, height + dome)]
    vertices = np.vstack([centre + r * circle + h * normal for r, h in rings])
    i = np.arange(sides)
    after = (i + 1) % sides
    bands = [
        np.stack([k * sides + i, k * sides + after, (k + 1) * sides + after, (k + 1) * sides + i], 1)
        for k in range(len(rings) - 1)
    ]
    top = ((len(rings) - 1) * sides + i)[None]
    local = vertices - centre + rng.uniform(0, 9, 3)
    return scene.add(
        Part(component, kind, material, vertices, [np.vstack(bands), top], local, scene.tone(component))
    )


def join(
    scene: Scene,
    component: str,
    kind: str,
    material: str,
    items: list[tuple[np.ndarray, Faces, np.ndarray]],
) -> Part | None:
    """Many small meshes as one part; None when there are none."""
    if not items:
        return None
    rng = scene.rng("join", component, kind)
    by_size: dict[int, list[np.ndarray]] = {}
    vertices, local, start = [], [], 0
    for points, faces, texture in items:
        vertices.append(points)
        local.append(texture + rng.uniform(0, 40, 3))
        for group in faces:
            by_size.setdefault(group.shape[1], []).append(group + start)
        start += len(points)
    merged = [np.vstack(groups) for groups in by_size.values()]
    return scene.add(Part(component, kind, material, np.vstack(vertices), merged, np.vstack(local)))
