"""Made views of a card on a ledger, with the truth: what the measuring is measured by.

A pinhole camera with radial distortion looks at a plane of wood that carries a card. The card's paper may
be bent to a cylinder (exact, by arc length), stand off a little, be printed a little too large or small and
be partly hidden; the picture is blurred, lit unevenly, may carry glare, and goes through noise, the sRGB
curve and JPEG. Nothing here uses the code under test except the card's own layout.

Plane coordinates are mm, origin at the middle of the card, x right and y down along the plane, z toward
the viewer is negative (z points into the wall).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import segno

from triage.slate import layout as lay

SENSOR = (4032, 3024)
TEXTURE_PX_PER_MM = 5.0
WOOD_PX_PER_MM = 0.8


@dataclass
class Camera:
    """Focal length and middle in pixels, radial distortion, turn (rows: x, y, z of the camera) and place."""

    focal_px: float
    center: np.ndarray
    k1: float
    k2: float
    turn: np.ndarray
    place_mm: np.ndarray

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """Pixels of points, shape (n, 3) -> (n, 2)."""
        seen = (points_mm - self.place_mm) @ self.turn.T
        flat = seen[:, :2] / seen[:, 2:]
        r2 = (flat**2).sum(1, keepdims=True)
        return flat * (1 + self.k1 * r2 + self.k2 * r2**2) * self.focal_px + self.center

    def rays(self, pixels: np.ndarray) -> np.ndarray:
        """Directions in the plane's axes of pixels, shape (n, 2) -> (n, 3)."""
        bent = (pixels - self.center) / self.focal_px
        flat = bent.copy()
        for _ in range(6):
            r2 = (flat**2).sum(1, keepdims=True)
            flat = bent / (1 + self.k1 * r2 + self.k2 * r2**2)
        return np.hstack([flat, np.ones((len(flat), 1))]) @ self.turn


@dataclass
class View:
    """What one made photo holds besides the camera."""

    layout: lay.Layout
    check: int
    text: str
    camera: Camera
    print_scale: float = 1.0
    curvature_per_mm: float = 0.0
    bend_axis_rad: float = 0.0
    gap_mm: float = 0.0
    tilt_rad: float = 0.0
    blur_px: float = 0.7
    motion_px: float = 0.0
    motion_rad: float = 0.0
    noise: float = 0.006
    light: float = 0.8
    quality: int = 92
    glare: list[tuple[float, float, float, float]] = field(default_factory=list)
    hidden: list[np.ndarray] = field(default_factory=list)
    sheet: tuple[float, float] | None = None
    exif_focal_mm: int | None = 26
    seed: int = 0


def card_texture(layout: lay.Layout, check: int, text: str) -> np.ndarray:
    """The card's face as gray 0..1, drawn from its layout, `TEXTURE_PX_PER_MM` pixels a mm."""
    scale = TEXTURE_PX_PER_MM
    size = (round(layout.height_mm * scale), round(layout.width_mm * scale))
    face = np.full(size, 0.92, np.float32)
    middle = np.array([size[1] / 2, size[0] / 2])
    words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, lay.DICTIONARY))
    for marker_id, corners in zip(layout.marker_ids(check), layout.marker_corners, strict=True):
        cells = cv2.aruco.generateImageMarker(words, marker_id, lay.MARKER_CELLS)
        _paste(face, cells > 127, middle + corners[0] * scale, layout.marker_mm * scale)
    code = segno.make(text, error="m", micro=False)
    cells = np.array([list(row) for row in code.matrix_iter(border=lay.QUIET_MODULES)]) == 0
    left, top, right, _ = layout.qr_zone
    _paste(face, cells, middle + np.array([left, top]) * scale, (right - left) * scale)
    return face


def _paste(face: np.ndarray, cells: np.ndarray, corner: np.ndarray, side_px: float) -> None:
    low = np.round(corner).astype(int)
    side = round(side_px)
    big = cv2.resize(cells.astype(np.uint8), (side, side), interpolation=cv2.INTER_NEAREST)
    face[low[1] : low[1] + side, low[0] : low[0] + side] = np.where(big > 0, 0.92, 0.04)


def wood_texture(rng: np.random.Generator, size_mm: int = 5200) -> np.ndarray:
    """A ledger's face with grain along x and the edges of boards, gray 0..1, tiling from -size/2."""
    n = round(size_mm * WOOD_PX_PER_MM)
    rows = cv2.GaussianBlur(rng.normal(0, 1, (n, 1)).astype(np.float32), (1, 5), 1.0)
    streaks = cv2.resize(rng.normal(0, 1, (n, max(2, n // 60))).astype(np.float32), (n, n))
    face = 0.34 + 0.05 * rows + 0.06 * streaks
    for y in range(0, n, round(235 * WOOD_PX_PER_MM)):
        face[y : y + 3] = 0.06
    return np.clip(face, 0.02, 0.9).astype(np.float32)


def _card_hits(view: View, rays: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where rays meet the paper: coordinates on the flat card (mm), and whether they meet it at all."""
    place = view.camera.place_mm - np.array([0.0, 0.0, stand_off_mm(view)])
    if view.tilt_rad:
        c, s = np.cos(view.tilt_rad), np.sin(view.tilt_rad)
        swing = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
        rays, place = rays @ swing.T, swing @ place
    c, s = np.cos(view.bend_axis_rad), np.sin(view.bend_axis_rad)
    across = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])
    d, o = rays @ across.T, across @ place
    if abs(view.curvature_per_mm) < 1e-9:
        t = -o[2] / d[:, 2]
        u, v = o[0] + t * d[:, 0], o[1] + t * d[:, 1]
        good = t > 0
    else:
        u, v, good = _cylinder(d, o, 1 / view.curvature_per_mm)
    flat = np.stack([c * u - s * v, s * u + c * v], 1)
    return flat / view.print_scale, good


def _cylinder(d: np.ndarray, o: np.ndarray, radius: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rays on the cylinder x = R sin(u/R), z = -R (1 - cos(u/R)): arc length u, height v, whether met.

    A positive radius curls the sides toward the viewer.
    """
    a = d[:, 0] ** 2 + d[:, 2] ** 2
    oz = o[2] + radius
    b = d[:, 0] * o[0] + d[:, 2] * oz
    rest = b**2 - a * (o[0] ** 2 + oz**2 - radius**2)
    good = rest > 0
    root = np.sqrt(np.maximum(rest, 0))
    t = np.where(radius > 0, -b + root, -b - root) / a
    x, z = o[0] + t * d[:, 0], oz + t * d[:, 2]
    good &= (t > 0) & (z * radius > 0)
    return np.arctan2(x * np.sign(radius), z * np.sign(radius)) * radius, o[1] + t * d[:, 1], good


def stand_off_mm(view: View) -> float:
    """Depth of the paper's middle: it is before the plane and touches it at its lowest points, less a gap."""
    if view.curvature_per_mm >= 0:
        return -view.gap_mm
    c, s = np.cos(view.bend_axis_rad), np.sin(view.bend_axis_rad)
    reach = abs(c) * view.layout.width_mm / 2 + abs(s) * view.layout.height_mm / 2
    radius = 1 / abs(view.curvature_per_mm)
    return -view.gap_mm - radius * (1 - np.cos(reach / radius))


def render(view: View, box: tuple[int, int, int, int], card: np.ndarray, wood: np.ndarray) -> np.ndarray:
    """The photo's part `box` (x0, y0, x1, y1), shape (h, w, 3), uint8, RGB."""
    rng = np.random.default_rng(view.seed)
    fine = 2 if mm_per_px(view) < 0.4 else 4
    size = (box[2] - box[0], box[3] - box[1])
    gray = _shade(view, box, fine, card, wood)
    gray = _lens(view, cv2.resize(gray, size, interpolation=cv2.INTER_AREA), box)
    return _develop(view, gray, rng)


def render_whole(view: View, card: np.ndarray, wood: np.ndarray) -> np.ndarray:
    """The whole photo, shape (3024, 4032, 3): coarse away from the card, its part as `render` has it."""
    far = _shade(view, (0, 0, *SENSOR), 0.25, card, wood)
    photo = _develop(view, cv2.resize(far, SENSOR), np.random.default_rng(view.seed + 1))
    box = card_box(view)
    photo[box[1] : box[3], box[0] : box[2]] = render(view, box, card, wood)
    return photo


def _develop(view: View, gray: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Noise, the sRGB curve and JPEG: linear light 0..1, shape (h, w), to RGB bytes, shape (h, w, 3)."""
    grain = rng.standard_normal(gray.shape, dtype=np.float32)
    gray = np.clip(gray + grain * view.noise * np.sqrt(0.2 + np.clip(gray, 0, 1)), 0, 1)
    curve = np.arange(4096, dtype=np.float32) / 4095
    curve = np.where(curve < 0.0031308, 12.92 * curve, 1.055 * curve ** (1 / 2.4) - 0.055)
    tints = [(curve * tint + 0.5).astype(np.uint8) for tint in (255, 247, 235)]
    level = (gray * 4095 + 0.5).astype(np.uint16)
    rgb = np.stack([tint[level] for tint in tints], axis=-1)
    ok, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, view.quality])
    assert ok
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


COARSE = 8


def _maps(view: View, box: tuple[int, int, int, int], fine: float) -> tuple[np.ndarray, ...]:
    """Ground and flat-card coordinates of every fine pixel, each (h, w, 2) float32, and where paper is met.

    Computed exactly every eighth pixel and filled in between: the maps are smooth to 0.01 mm there.
    """
    x0, y0, x1, y1 = box
    wide, high = round((x1 - x0) * fine), round((y1 - y0) * fine)
    across, down = -(-wide // COARSE) + 2, -(-high // COARSE) + 2
    xs = x0 - 0.5 + ((np.arange(across) - 0.5) * COARSE) / fine
    ys = y0 - 0.5 + ((np.arange(down) - 0.5) * COARSE) / fine
    rays = view.camera.rays(np.stack(np.meshgrid(xs, ys), -1).reshape(-1, 2))
    place = view.camera.place_mm
    ground = place[:2] - (place[2] / rays[:, 2])[:, None] * rays[:, :2]
    flat, good = _card_hits(view, rays)
    flat[~good] = 1e5
    whole = []
    for part in (ground, flat):
        coarse = part.reshape(down, across, 2).astype(np.float32)
        full = cv2.resize(coarse, (across * COARSE, down * COARSE), interpolation=cv2.INTER_LINEAR)
        whole.append(full[COARSE : COARSE + high, COARSE : COARSE + wide])
    return tuple(whole)


def _shade(
    view: View, box: tuple[int, int, int, int], fine: float, card: np.ndarray, wood: np.ndarray
) -> np.ndarray:
    ground, flat = _maps(view, box, fine)
    x, y = ((ground[..., axis] + 2600) * np.float32(WOOD_PX_PER_MM) for axis in (0, 1))
    gray = cv2.remap(wood, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    half = np.array(view.sheet or (view.layout.width_mm, view.layout.height_mm)) / 2 / view.print_scale
    on_card = (np.abs(flat[..., 0]) <= half[0]) & (np.abs(flat[..., 1]) <= half[1])
    soft = 0.5 * mm_per_px(view) / fine * TEXTURE_PX_PER_MM
    face = cv2.GaussianBlur(card, (0, 0), soft) if soft > 0.3 else card
    x, y = (
        flat[..., axis] * np.float32(TEXTURE_PX_PER_MM) + np.float32(size / 2 - 0.5)
        for axis, size in enumerate((card.shape[1], card.shape[0]))
    )
    paper = cv2.remap(face, x, y, cv2.INTER_LINEAR, borderValue=0.92)
    gray = np.where(on_card, paper, gray)
    for outline in view.hidden:
        gray = np.where(_inside(ground, outline), 0.22, gray)
    return np.asarray(gray * np.float32(view.light), np.float32)


def mm_per_px(view: View) -> float:
    """Millimeters of a pixel at the card's middle, looked at squarely."""
    return float(np.linalg.norm(view.camera.place_mm)) / view.camera.focal_px


def _inside(grid: np.ndarray, outline: np.ndarray) -> np.ndarray:
    """Whether points of a grid, shape (h, w, 2), lie in a convex polygon given clockwise on the screen."""
    inside = np.ones(grid.shape[:2], bool)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        edge = b - a
        inside &= edge[0] * (grid[..., 1] - a[1]) - edge[1] * (grid[..., 0] - a[0]) >= 0
    return inside


def _lens(view: View, gray: np.ndarray, box: tuple[int, int, int, int]) -> np.ndarray:
    x0, y0, x1, y1 = box
    xs, ys = np.meshgrid(np.arange(x0, x1, dtype=np.float32), np.arange(y0, y1, dtype=np.float32))
    for x, y, radius, strength in view.glare:
        gray = gray + strength * np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (2 * radius**2))
    if view.blur_px > 0.2:
        gray = cv2.GaussianBlur(gray, (0, 0), view.blur_px)
    if view.motion_px > 0.3:
        gray = _smear(gray, view.motion_px, view.motion_rad)
    return gray


def _smear(gray: np.ndarray, length_px: float, angle_rad: float) -> np.ndarray:
    steps = np.linspace(-0.5, 0.5, 9) * length_px
    total = np.zeros_like(gray)
    for step in steps:
        move = np.array([[1, 0, step * np.cos(angle_rad)], [0, 1, step * np.sin(angle_rad)]], np.float32)
        total += cv2.warpAffine(gray, move, gray.shape[::-1], borderMode=cv2.BORDER_REFLECT)
    return total / len(steps)


def draw_camera(rng: np.random.Generator, distance_mm: float, oblique_rad: float, aim: np.ndarray) -> Camera:
    """A phone's main camera, 26 mm equivalent, that looks at a point of the plane from somewhere."""
    focal = SENSOR[0] * 26 / 36 * (1 + rng.normal(0, 0.015))
    round_about = rng.uniform(0, 2 * np.pi)
    off = np.array([np.cos(round_about), np.sin(round_about)]) * np.sin(oblique_rad)
    place = np.array([*(aim + distance_mm * off), -distance_mm * np.cos(oblique_rad)])
    ahead = np.array([*aim, 0.0]) - place
    ahead /= np.linalg.norm(ahead)
    roll = rng.normal(0, np.radians(5))
    down = np.array([np.sin(roll), np.cos(roll), 0.0])
    right = np.cross(down, ahead)
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(ahead, right), ahead])
    center = (np.array(SENSOR) - 1) / 2 + rng.normal(0, 0.003 * SENSOR[0], 2)
    return Camera(focal, center, rng.normal(0, 0.012), rng.normal(0, 0.004), turn, place)


def draw_view(rng: np.random.Generator, paper: str = "letter", text: str = "DTS1 0000 demo") -> View:
    """One view of the measured set: 0.5-3 m, to 60 degrees, blur, glare, hidden parts, bent paper."""
    layout = lay.layout_named(paper)
    while True:
        distance, oblique = rng.uniform(500, 3000), np.radians(rng.uniform(0, 60))
        aim = np.array([rng.uniform(-0.45, 0.45), rng.uniform(-0.2, 0.2)]) * distance
        camera = draw_camera(rng, distance, oblique, aim)
        rim = camera.project(np.hstack([layout.outline * 1.02, np.zeros((4, 1))]))
        if (rim > 20).all() and (rim < np.array(SENSOR) - 20).all():
            break
    view = View(layout, int(rng.integers(lay.SETS_PER_PAPER)), text, camera, seed=int(rng.integers(2**31)))
    view.print_scale = 1 + rng.normal(0, 0.0015)
    view.gap_mm = abs(rng.normal(0, 1.0))
    if rng.random() < 0.5:
        view.curvature_per_mm = rng.uniform(-1, 1) / 1000
        view.bend_axis_rad = rng.uniform(0, np.pi)
    view.blur_px, view.motion_px = rng.uniform(0.4, 1.3), rng.uniform(0, 2.5) * (rng.random() < 0.4)
    view.motion_rad, view.light = rng.uniform(0, np.pi), rng.uniform(0.35, 1.05)
    view.noise, view.quality = rng.uniform(0.002, 0.015), int(rng.integers(80, 97))
    view.exif_focal_mm = 26 if rng.random() < 0.8 else None
    _spoil(view, rng, rim)
    return view


def _spoil(view: View, rng: np.random.Generator, rim: np.ndarray) -> None:
    span = np.ptp(rim, axis=0).max()
    if rng.random() < 0.3:
        spot = rim.mean(0) + rng.uniform(-0.5, 0.5, 2) * np.ptp(rim, axis=0)
        view.glare.append((spot[0], spot[1], span * rng.uniform(0.03, 0.12), rng.uniform(0.4, 1.5)))
    if rng.random() < 0.3:
        size = np.array([view.layout.width_mm, view.layout.height_mm])
        middle = rng.uniform(-0.5, 0.5, 2) * size
        half = size * rng.uniform(0.05, 0.2)
        turn = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
        view.hidden.append(middle + turn * half)


def draw_lengths(
    rng: np.random.Generator, view: View, wanted: int = 3
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Pairs of points of the plane, mm: they begin beside the card and reach up to 4 ft along the ledger."""
    pairs: list[tuple[np.ndarray, np.ndarray]] = []
    for _ in range(400):
        if len(pairs) == wanted:
            break
        side = rng.choice([-1, 1])
        start = np.array([side * (view.layout.width_mm / 2 + rng.uniform(5, 150)), rng.uniform(-150, 150)])
        angle, length = np.radians(rng.uniform(-25, 25)), rng.uniform(100, 1219.2)
        end = start + side * length * np.array([np.cos(angle), np.sin(angle)])
        pixels = view.camera.project(np.array([[*start, 0.0], [*end, 0.0]]))
        seen = (pixels > 5).all() and (pixels < np.array(SENSOR) - 5).all()
        if seen and _sees(view.camera, np.array([start, end]), pixels):
            pairs.append((start, end))
    return pairs


def _sees(camera: Camera, plane: np.ndarray, pixels: np.ndarray) -> bool:
    """Whether pixels look at the points (a far point may be folded back into the picture by the lens)."""
    rays = camera.rays(pixels)
    back = camera.place_mm[:2] - (camera.place_mm[2] / rays[:, 2])[:, None] * rays[:, :2]
    return bool((rays[:, 2] > 0).all() and np.abs(back - plane).max() < 0.05)


def card_box(view: View, margin: float = 0.13) -> tuple[int, int, int, int]:
    """The part of the picture around the card, x0, y0, x1, y1, for a quick rendering."""
    rim = view.camera.project(np.hstack([view.layout.outline, np.zeros((4, 1))]))
    low, high = rim.min(0), rim.max(0)
    pad = margin * (high - low).max()
    x0, y0 = np.maximum(np.floor(low - pad), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(high + pad), SENSOR).astype(int)
    return int(x0), int(y0), int(x1), int(y1)
