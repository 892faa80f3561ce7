"""Made close-ups with exact truth: wood, concrete, brick and painted boards, and what goes wrong with them.

Every picture follows from its number alone. Nothing is copied from a photo: fields of smooth noise, warped
and colored. A picture comes with a mask a tag at an eighth of its size, the share of each place that the
thing covers; what lies under something else is not in its mask.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
SIDE_PX = 384
MASK_STEP_PX = 8
GROUNDS = ("wood", "concrete", "brick", "painted")
THINGS = ("crack", "knot", "rot", "rust", "moss", "stain", "fastener", "hole", "peeling", "debris")
TAGS = GROUNDS + THINGS
WOODS = ((196, 152, 104), (172, 118, 76), (150, 146, 138), (122, 116, 106), (214, 184, 138), (110, 74, 48))
PAINTS = ((214, 210, 198), (132, 60, 46), (92, 110, 96), (70, 82, 100), (168, 142, 108), (58, 52, 48))
LEAST_CHANCE, MOST_CHANCE = 0.12, 0.3


@dataclass
class Scene:
    """A picture in the making: rgb (S, S, 3) float 0 to 255, masks by tag (S, S) float 0 to 1."""

    rng: np.random.Generator
    rgb: Array
    masks: dict[str, Array] = field(default_factory=dict)

    def put(self, tag: str, mask: Array, color: Array, strength: float = 1.0) -> None:
        """Lay a color over the picture where the mask says; it hides what was there before."""
        share = (mask * strength)[..., None]
        self.rgb = self.rgb * (1 - share) + color * share
        for other in self.masks:
            if other not in GROUNDS or tag in GROUNDS:
                self.masks[other] = self.masks[other] * (1 - mask * (strength > 0.6))
        self.masks[tag] = np.maximum(self.masks.get(tag, 0), mask)


def noise(rng: np.random.Generator, across: float, down: float | None = None, octaves: int = 3) -> Array:
    """Return (S, S) of smooth noise about 0 to 1, with so many humps across and down."""
    total, weight = np.zeros((SIDE_PX, SIDE_PX), np.float32), 0.0
    for octave in range(octaves):
        size = [max(2, round(n * 2**octave) + 1) for n in (across, across if down is None else down)]
        grid = rng.random((size[1], size[0]), dtype=np.float32)
        total += 0.5**octave * cv2.resize(grid, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_CUBIC)
        weight += 0.5**octave
    return total / weight


def ramp(field_: Array, edge: float, softness: float = 0.03) -> Array:
    """Return 1 where the field is above the edge, 0 below, with a soft border."""
    return np.clip((field_ - edge) / softness + 0.5, 0, 1)


def tinted(rng: np.random.Generator, color: tuple[int, int, int], spread: float = 22) -> Array:
    """Return the color a little lighter, darker or turned."""
    return np.clip(np.array(color) + rng.normal(0, spread) + rng.normal(0, spread / 4, 3), 0, 255)


def blob(rng: np.random.Generator, radius: float, ragged: float) -> Array:
    """Return a mask (S, S) of one ragged patch somewhere, its radius in shares of the side."""
    y, x = np.mgrid[0:SIDE_PX, 0:SIDE_PX] / SIDE_PX - rng.random(2)[:, None, None]
    turn = rng.uniform(0, np.pi)
    along, over = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    far = np.hypot(along, over * rng.uniform(1, 2)) / radius
    return ramp(1 - far + ragged * (noise(rng, 10) - 0.5), 0.0, 0.15).astype(np.float32)


def wood(scene: Scene) -> None:
    """Boards along x with year rings; knots bend the grain round them."""
    rng = scene.rng
    y, x = np.mgrid[0:SIDE_PX, 0:SIDE_PX].astype(np.float32) / SIDE_PX
    across = y + 0.06 * (noise(rng, 2, 4) - 0.5)
    knots = []
    for _ in range(rng.poisson(0.8)):
        at, size = rng.random(2), rng.uniform(0.02, 0.09)
        away_x, away_y = x - at[0], y - at[1]
        far = np.hypot(away_x * rng.uniform(0.6, 1), away_y) / size
        across += np.sign(away_y) * 0.6 * size * np.exp(-((far / 2) ** 2)) * (1 - np.exp(-(far**2)))
        knots.append(far + 0.25 * (noise(rng, 14) - 0.5))
    rings = 0.5 + 0.5 * np.sin(2 * np.pi * (across * rng.uniform(6, 40) + 2 * noise(rng, 1, 5)))
    fibre = noise(rng, 3, 120, 2)
    base = tinted(rng, WOODS[rng.integers(len(WOODS))])
    light = 1 + rng.uniform(0.05, 0.3) * (rings**2 - 0.5) + rng.uniform(0.1, 0.4) * (fibre - 0.5)
    scene.rgb = base * light[..., None] * (0.85 + 0.3 * noise(rng, 2, 2))[..., None]
    scene.masks["wood"] = np.ones((SIDE_PX, SIDE_PX), np.float32)
    for far in knots:
        inside = ramp(1 - far, 0.0, 0.2)
        shade = (0.75 + 0.25 * np.sin(far * rng.uniform(9, 25)))[..., None]
        scene.put("knot", inside, base * rng.uniform(0.25, 0.75) * shade * (1.1, 0.95, 0.8), 0.9)
    if rng.random() < 0.5:  # gaps between boards
        for edge in np.arange(rng.uniform(0, 0.4), 1, rng.uniform(0.25, 0.6)):
            gap = np.exp(-(((y - edge) / rng.uniform(0.004, 0.015)) ** 2))[..., None]
            scene.rgb = scene.rgb * (1 - 0.9 * gap)


def concrete(scene: Scene) -> None:
    """A gray, mottled, pitted face."""
    rng = scene.rng
    base = tinted(rng, (158, 154, 146))
    light = 0.7 + 0.35 * noise(rng, 3) + rng.uniform(0.1, 0.4) * (noise(rng, 60, octaves=2) - 0.2)
    pits = ramp(noise(rng, 40, octaves=1), rng.uniform(0.8, 0.97))
    scene.rgb = base * light[..., None] * (1 - 0.4 * pits)[..., None]
    scene.masks["concrete"] = np.ones((SIDE_PX, SIDE_PX), np.float32)


def brick(scene: Scene) -> None:
    """Courses of bricks in mortar, every brick of its own shade."""
    rng = scene.rng
    high = rng.uniform(0.08, 0.3)
    wide, joint = high * rng.uniform(2.2, 3.5), rng.uniform(0.05, 0.14)
    y, x = np.mgrid[0:SIDE_PX, 0:SIDE_PX] / SIDE_PX
    y, x = y + 0.01 * noise(rng, 4), x + 0.01 * noise(rng, 4)
    row = np.floor(y / high).astype(int)
    along = x / wide + 0.5 * (row % 2)
    shades = rng.normal(1, 0.14, (40, 40))
    shade = shades[row % 40, np.floor(along).astype(int) % 40]
    off_y, off_x = np.abs(y / high - row - 0.5), np.abs(along - np.floor(along) - 0.5) * wide / high
    face = ramp(0.5 - off_y, joint / 2, 0.05) * ramp(0.5 * wide / high - off_x, joint / 2, 0.05)
    color = tinted(rng, ((158, 84, 62), (184, 140, 104), (120, 70, 60), (170, 160, 150))[rng.integers(4)])
    rough = (0.75 + 0.5 * noise(rng, 50, octaves=2))[..., None]
    scene.rgb = (
        color * shade[..., None] * face[..., None] + tinted(rng, (172, 166, 156)) * (1 - face)[..., None]
    ) * rough
    scene.masks["brick"] = np.ones((SIDE_PX, SIDE_PX), np.float32)


def painted(scene: Scene) -> None:
    """A painted or stained face, with the grain faintly under it."""
    rng = scene.rng
    light = 0.85 + 0.2 * noise(rng, 2) + 0.08 * (noise(rng, 3, 90, 2) - 0.5)
    scene.rgb = tinted(rng, PAINTS[rng.integers(len(PAINTS))]) * light[..., None]
    scene.masks["painted"] = np.ones((SIDE_PX, SIDE_PX), np.float32)


def crack(scene: Scene) -> None:
    """One to three thin dark lines: along the grain in wood, anywhere elsewhere, with branches."""
    rng = scene.rng
    grain = "wood" in scene.masks
    drawn = np.zeros((SIDE_PX, SIDE_PX), np.uint8)
    for _ in range(rng.integers(1, 4)):
        at, turn = rng.random(2) * SIDE_PX, rng.normal(0, 0.06) if grain else rng.uniform(0, 2 * np.pi)
        width, steps = rng.uniform(1, 5), rng.integers(15, 70)
        for step in range(steps):
            turn += rng.normal(0, 0.04 if grain else 0.25)
            then = at + 6 * np.array([np.cos(turn), np.sin(turn)])
            thick = max(1, round(width * np.sin(np.pi * (step + 1) / (steps + 1)) + rng.normal(0, 0.4)))
            cv2.line(drawn, tuple(map(int, at)), tuple(map(int, then)), 255, int(thick), cv2.LINE_AA)
            at = then
    mask = drawn.astype(np.float32) / 255
    lit = np.roll(mask, (2, 1), (0, 1))[..., None] * rng.uniform(0, 0.25)
    scene.rgb = scene.rgb * (1 - lit) + 255 * lit
    scene.put("crack", mask, scene.rgb * rng.uniform(0.1, 0.55), rng.uniform(0.7, 1))


def rot(scene: Scene) -> None:
    """A dark soft patch, broken into small cubes or threads."""
    rng = scene.rng
    mask = blob(rng, rng.uniform(0.1, 0.45), 1.0)
    cubes = np.abs(noise(rng, 16, 26, 2) - 0.5)
    color = tinted(rng, (84, 60, 42)) * (0.4 + 2.2 * cubes + 0.5 * noise(rng, 70, octaves=1))[..., None]
    scene.put("rot", mask, color, rng.uniform(0.75, 1))


def rust(scene: Scene) -> None:
    """A plate, strap or run of rust, from specks to scale."""
    rng = scene.rng
    patch = blob(rng, rng.uniform(0.06, 0.4), 0.6)
    if rng.random() < 0.6:  # a metal plate that rusts
        x, y, w, h = rng.uniform(0, 0.7), rng.uniform(0, 0.7), rng.uniform(0.1, 0.7), rng.uniform(0.08, 0.6)
        plate = np.zeros((SIDE_PX, SIDE_PX), np.float32)
        plate[int(y * SIDE_PX) : int((y + h) * SIDE_PX), int(x * SIDE_PX) : int((x + w) * SIDE_PX)] = 1
        steel = tinted(rng, (150, 154, 158)) * (0.75 + 0.4 * noise(rng, 2) + 0.1 * noise(rng, 30))[..., None]
        scene.rgb = scene.rgb * (1 - plate[..., None]) + steel * plate[..., None]
        for other in scene.masks:
            scene.masks[other] = scene.masks[other] * (1 - plate)
        patch = plate * ramp(noise(rng, rng.uniform(3, 20)), rng.uniform(0.35, 0.75), 0.15)
        if rng.random() < 0.3:
            return  # clean metal, the look-alike
    grade = rng.uniform(0, 1)
    tone = np.array((176, 98, 44)) * (1 - grade) + np.array((96, 48, 28)) * grade
    scene.put("rust", patch, tone * (0.6 + 0.8 * noise(rng, 30))[..., None], rng.uniform(0.65, 1))


def moss(scene: Scene) -> None:
    """Green cushions in clusters."""
    rng = scene.rng
    mask = blob(rng, rng.uniform(0.1, 0.5), 1.2) * ramp(noise(rng, 14), rng.uniform(0.4, 0.6), 0.08)
    color = tinted(rng, (92, 112, 52), 14) * (0.5 + noise(rng, 90, octaves=2))[..., None]
    scene.put("moss", mask, color, rng.uniform(0.65, 1))


def stain(scene: Scene) -> None:
    """A dark or light water stain, or runs downwards; the surface stays what it was."""
    rng = scene.rng
    if rng.random() < 0.5:
        mask = blob(rng, rng.uniform(0.1, 0.5), 0.5)
    else:
        mask = ramp(noise(rng, 14, 1, 1), rng.uniform(0.55, 0.75), 0.2) * ramp(noise(rng, 2, 2), 0.45, 0.3)
    scene.put("stain", mask, scene.rgb * rng.choice([rng.uniform(0.4, 0.7), 1.35]) * (1.0, 0.95, 0.88), 0.6)


def fastener(scene: Scene) -> None:
    """Heads of nails and screws, some rusted, in a row or apart."""
    rng = scene.rng
    radius, metal = rng.uniform(5, 18), tinted(rng, (150, 150, 150))
    y, x = np.mgrid[0:SIDE_PX, 0:SIDE_PX]
    for _ in range(rng.integers(1, 5)):
        at = rng.random(2) * SIDE_PX
        far = np.hypot(x - at[0], y - at[1]) / radius
        head = ramp(1 - far, 0.0, 0.12).astype(np.float32)
        ring = np.exp(-(((far - 1.1) / 0.15) ** 2))[..., None]
        scene.rgb = scene.rgb * (1 - 0.5 * ring)
        slope = ((x - at[0]) - (y - at[1])) / radius
        shade = 0.8 - 0.15 * slope
        kind = rng.integers(3)
        if kind:
            bars = np.minimum(np.abs(x - at[0]), np.abs(y - at[1]) if kind == 2 else 1e9)
            shade = np.where((bars < radius * 0.14) & (far < 0.7), 0.3, shade)
        rusty = rng.random() < 0.3
        color = (np.array((140, 76, 40)) if rusty else metal) * shade[..., None]
        scene.put("fastener", head, color, 1.0)
        if rusty:
            scene.masks["rust"] = np.maximum(scene.masks.get("rust", 0), head)


def hole(scene: Scene) -> None:
    """Round dark holes, as of a fastener that is gone or of insects."""
    rng = scene.rng
    y, x = np.mgrid[0:SIDE_PX, 0:SIDE_PX]
    for _ in range(rng.integers(1, 4)):
        at, radius = rng.random(2) * SIDE_PX, rng.uniform(3, 16)
        far = np.hypot(x - at[0], (y - at[1]) * rng.uniform(0.9, 1.1)) / radius
        scene.put(
            "hole",
            ramp(1 - far, 0.0, 0.25).astype(np.float32),
            scene.rgb * 0.15 + 8 * far[..., None].clip(0, 1),
            0.97,
        )


def peeling(scene: Scene) -> None:
    """Paint that has lifted, with a shadow at its edge and the bare surface under it."""
    rng = scene.rng
    mask = blob(rng, rng.uniform(0.1, 0.4), 1.3)
    edge = np.clip(mask - np.roll(mask, (3, 2), (0, 1)), 0, 1)[..., None]
    under = tinted(rng, WOODS[rng.integers(len(WOODS))]) * (0.7 + 0.5 * noise(rng, 3, 90))[..., None]
    scene.put("peeling", mask, under, 1.0)
    scene.rgb = scene.rgb * (1 - 0.6 * edge)


def debris(scene: Scene) -> None:
    """Leaves, needles and twigs that lie on it."""
    rng = scene.rng
    for _ in range(rng.integers(3, 14)):
        drawn = np.zeros((SIDE_PX, SIDE_PX), np.uint8)
        at, long = rng.random(2) * SIDE_PX, rng.uniform(8, 45)
        axes = (int(long), int(max(1, long * rng.uniform(0.04, 0.55))))
        cv2.ellipse(drawn, tuple(map(int, at)), axes, rng.uniform(0, 180), 0, 360, 255, -1, cv2.LINE_AA)
        mask = drawn.astype(np.float32) / 255
        shadow = np.roll(mask, (4, 3), (0, 1))[..., None] * 0.5
        scene.rgb = scene.rgb * (1 - shadow)
        tone = ((120, 84, 40), (150, 116, 60), (90, 66, 44), (110, 116, 50))[rng.integers(4)]
        scene.put("debris", mask, tinted(rng, tone) * (0.8 + 0.4 * noise(rng, 30, octaves=1))[..., None], 1.0)


_GROUND: dict[str, Callable[[Scene], None]] = {
    "wood": wood,
    "concrete": concrete,
    "brick": brick,
    "painted": painted,
}
_THING: dict[str, Callable[[Scene], None]] = {
    "stain": stain, "rot": rot, "peeling": peeling, "rust": rust, "moss": moss, "crack": crack,
    "fastener": fastener, "hole": hole, "debris": debris,
}  # fmt: skip
_ONLY_ON = {"rot": ("wood",), "peeling": ("painted",)}


def photographed(rng: np.random.Generator, rgb: Array) -> NDArray[np.uint8]:
    """Light, shadow, blur, noise, white balance and JPEG, as a phone leaves them."""
    y, x = np.mgrid[-1 : 1 : SIDE_PX * 1j, -1 : 1 : SIDE_PX * 1j]
    slope = rng.normal(0, 0.18, 2)
    light = 1 + slope[0] * x + slope[1] * y
    if rng.random() < 0.2:  # flash
        light = light * (
            0.7 + 0.8 * np.exp(-((x - rng.normal(0, 0.3)) ** 2 + (y - rng.normal(0, 0.3)) ** 2) * 2)
        )
    if rng.random() < 0.25:  # a shadow with a soft or hard edge, no defect
        edge = x * np.cos(turn := rng.uniform(0, 6.3)) + y * np.sin(turn) + 0.3 * noise(rng, 3)
        light = light * (
            1 - rng.uniform(0.2, 0.6) * ramp(edge, rng.uniform(-0.3, 0.5), rng.uniform(0.02, 0.4))
        )
    seen = rgb * light[..., None] * rng.uniform(0.55, 1.25) * np.exp(rng.normal(0, 0.07, 3))
    if rng.random() < 0.6:
        seen = cv2.GaussianBlur(seen, (0, 0), rng.uniform(0.3, 1.8))
    seen = seen + rng.normal(0, rng.uniform(0, 8), seen.shape)
    small = np.clip(seen, 0, 255).astype(np.uint8)
    done, packed = cv2.imencode(
        ".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(45, 95))]
    )
    if not done:
        raise ValueError("a made picture could not be encoded")
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])


def made_picture(number: int) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return the picture (S, S, 3) and its masks (tags, S/8, S/8), 0 to 255 of the share covered."""
    rng = np.random.default_rng([20261127, number])
    ground = GROUNDS[rng.choice(4, p=(0.5, 0.17, 0.13, 0.2))]
    scene = Scene(rng, np.zeros((SIDE_PX, SIDE_PX, 3)))
    _GROUND[ground](scene)
    for name, paint in _THING.items():
        if ground in _ONLY_ON.get(name, GROUNDS) and rng.random() < rng.uniform(LEAST_CHANCE, MOST_CHANCE):
            paint(scene)
    if rng.random() < 0.5:  # boards are photographed at every angle
        turns = int(rng.integers(1, 4))
        scene.rgb = np.rot90(scene.rgb, turns)
        scene.masks = {tag: np.rot90(mask, turns) for tag, mask in scene.masks.items()}
    side = SIDE_PX // MASK_STEP_PX
    masks = np.zeros((len(TAGS), side, side), np.uint8)
    for tag, mask in scene.masks.items():
        shares = np.ascontiguousarray(mask, np.float32).reshape(side, MASK_STEP_PX, side, MASK_STEP_PX)
        masks[TAGS.index(tag)] = np.round(255 * shares.mean(axis=(1, 3)))
    return photographed(rng, scene.rgb), masks
