"""The photos that a person walking a deck takes: where the phone is held, and in which light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .camera import Camera
from .errors import RenderError
from .layout import Layout
from .phone import Phone

FAR_KINDS = frozenset({"grass", "plant", "fence", "house", "truck"})
#: Radiant power in watts of a phone's lamp as the scene knows it.
FLASH_W = 0.55


@dataclass(frozen=True)
class Light:
    """Sun and sky; `overcast` 0 is a clear sky, 1 an even grey one; `flash` in watts."""

    sun_elevation_deg: float = 40.0
    sun_azimuth_deg: float = 160.0
    overcast: float = 0.0
    strength: float = 0.12
    flash: float = 0.0


@dataclass(frozen=True)
class View:
    """A camera, the light, and the kinds of things that it cannot see."""

    camera: Camera
    light: Light
    hidden: frozenset[str]


@dataclass(frozen=True)
class Aim:
    """What a shot is of: a joist, a post, or a place along x (share of the width), and from which side."""

    joist: int = 0
    post: int = 0
    share: float = 0.5
    side: int = 1
    portrait: bool = False


Pose = tuple[list[float], list[float], float]  # eye, target, roll in degrees


def _hanger_near(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x, z = float(plan.joist_x[aim.joist]), plan.joist_bottom
    eye = [
        x + aim.side * rng.uniform(0.17, 0.27),
        plan.ledger_face + rng.uniform(0.30, 0.42),
        z + rng.uniform(-0.13, -0.05),
    ]
    return (
        eye,
        [x + 0.012 + rng.normal(0, 0.012), plan.ledger_face + 0.01, z + 0.075 + rng.normal(0, 0.015)],
        rng.uniform(-5, 5),
    )


def _hanger_far(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x, z = float(plan.joist_x[aim.joist]), plan.joist_bottom
    eye = [
        x + aim.side * rng.uniform(0.35, 0.6),
        plan.ledger_face + rng.uniform(0.75, 1.0),
        z - rng.uniform(0.2, 0.3),
    ]
    return eye, [x, plan.ledger_face, z + 0.05], rng.uniform(-4, 4)


def _ledger_below(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x = plan.width * aim.share
    eye = [
        x - aim.side * 0.28,
        plan.ledger_face + rng.uniform(0.48, 0.64),
        plan.joist_top - rng.uniform(0.29, 0.36),
    ]
    return eye, [x, plan.ledger_face, plan.joist_top - 0.125], rng.uniform(-4, 4)


def _flashing_above(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x, top = plan.width * aim.share, plan.deck_top
    eye = [x - 0.25 * aim.side, plan.ledger_face + rng.uniform(0.42, 0.55), top + rng.uniform(0.32, 0.44)]
    return eye, [x, plan.ledger_face + 0.01, top], rng.uniform(-4, 4)


def _beam_end(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    out, x = aim.side, float(plan.post_x[-1 if aim.side > 0 else 0])
    eye = [
        x + out * rng.uniform(0.85, 1.1),
        plan.beam_y - rng.choice([-1, 1]) * rng.uniform(0.03, 0.2),
        plan.beam_top - rng.uniform(0.27, 0.36),
    ]
    return eye, [x + out * 0.05, plan.beam_y, plan.beam_top - 0.17], rng.uniform(-3, 3)


def _beam_side(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x = float(plan.post_x[aim.post])
    eye = [
        x + aim.side * rng.uniform(0.1, 0.4),
        plan.beam_y + rng.uniform(0.95, 1.3),
        plan.beam_bottom - rng.uniform(0.05, 0.2),
    ]
    return eye, [x, plan.beam_y, plan.beam_bottom + 0.06], rng.uniform(-3, 3)


def _post_foot(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x = float(plan.post_x[aim.post])
    eye = [
        x + aim.side * rng.uniform(0.3, 0.5),
        plan.beam_y + rng.uniform(0.75, 0.95),
        rng.uniform(0.55, 0.7),
    ]
    return eye, [x, plan.beam_y, 0.13], rng.uniform(-4, 4)


def _whole_deck(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x, back = plan.width / 2, 1.3 * max(0.0, plan.deck_top - 2.0)  # a high deck needs more room
    eye = [
        x + aim.side * (rng.uniform(3.4, 4.2) + 0.3 * back),
        plan.depth + rng.uniform(4.2, 5.2) + back,
        rng.uniform(1.5, 1.7),
    ]
    if back:
        return eye, [x, plan.depth * 0.5, plan.deck_top * 0.6], rng.uniform(-1.5, 1.5)
    return eye, [x + aim.side * 0.2, plan.depth * 0.5, plan.deck_top + 0.1], rng.uniform(-1.5, 1.5)


def _stairs(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x = plan.width / 2
    eye = [x + aim.side * rng.uniform(1.5, 1.9), plan.depth + rng.uniform(2.9, 3.4), rng.uniform(1.35, 1.6)]
    return eye, [x, plan.depth + 0.75, plan.deck_top * 0.52], rng.uniform(-2, 2)


def _guard(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x = plan.width * (0.22 if aim.side > 0 else 0.78)
    eye = [
        x + aim.side * rng.uniform(0.9, 1.2),
        plan.depth - rng.uniform(1.3, 1.6),
        plan.deck_top + rng.uniform(1.3, 1.5),
    ]
    return eye, [x, plan.depth, plan.deck_top + 0.50], rng.uniform(-2, 2)


def _truck(plan: Layout, aim: Aim, rng: np.random.Generator) -> Pose:
    x, y = truck_place(plan)
    eye = [x + 1.0 + rng.uniform(-1.0, 1.0), y - 6.2, 1.6]
    return eye, [x + 2.7, y - 0.9, 0.75], rng.uniform(-2, 2)


def truck_place(plan: Layout) -> tuple[float, float]:
    """Where the pickup stands on the lawn."""
    return plan.width + 3.0, plan.depth + 6.3


_POSES: dict[
    str, tuple[Callable[[Layout, Aim, np.random.Generator], Pose], frozenset[str], tuple[float, float]]
] = {
    "hanger-near": (_hanger_near, FAR_KINDS, (145, 210)),
    "hanger-far": (_hanger_far, FAR_KINDS, (145, 210)),
    "ledger-below": (_ledger_below, FAR_KINDS, (145, 210)),
    "flashing-above": (_flashing_above, FAR_KINDS - {"house"}, (100, 200)),
    "beam-end": (_beam_end, frozenset({"house", "truck"}), (300, 350)),
    "beam-side": (_beam_side, FAR_KINDS, (300, 350)),
    "post-foot": (_post_foot, FAR_KINDS - {"grass"}, (300, 350)),
    "whole-deck": (_whole_deck, frozenset({"truck"}), (300, 350)),
    "stairs": (_stairs, frozenset({"truck"}), (300, 350)),
    "guard": (_guard, frozenset({"truck", "house"}), (300, 350)),
    "truck": (_truck, frozenset({"house"}), (30, 60)),
}
VIEWS = tuple(_POSES)
_SUN = {"sun": (35.0, 60.0), "low-sun": (12.0, 24.0), "overcast": (30.0, 50.0)}
LIGHTS = (*_SUN, "flash")


def make_light(kind: str, azimuth_deg: tuple[float, float], rng: np.random.Generator) -> Light:
    """The light of one photo.

    Raises:
        RenderError: there is no such light.
    """
    if kind == "flash":
        return Light(4.0, 20.0, strength=0.02, flash=FLASH_W)
    if kind not in _SUN:
        raise RenderError(f"There is no light '{kind}'.", "It may be " + ", ".join(LIGHTS) + ".")
    elevation, azimuth = rng.uniform(*_SUN[kind]), rng.uniform(*azimuth_deg)
    return Light(elevation, azimuth, overcast=0.92 if kind == "overcast" else 0.2)


def make_view(
    name: str,
    plan: Layout,
    aim: Aim,
    light: str,
    phone: Phone,
    size: tuple[int, int],
    rng: np.random.Generator,
) -> View:
    """Hold the phone: a view by name; `size` is (long, short) in pixels.

    Raises:
        RenderError: there is no such view, or it aims at a joist or post that is not there.
    """
    if name not in _POSES:
        raise RenderError(f"There is no view '{name}'.", "It may be " + ", ".join(VIEWS) + ".")
    if not (0 <= aim.joist < len(plan.joist_x) and 0 <= aim.post < len(plan.post_x)):
        raise RenderError(
            f"The view '{name}' aims at joist {aim.joist} or post {aim.post}, which is not there."
        )
    pose, hidden, azimuth = _POSES[name]
    eye, target, roll = pose(plan, aim, rng)
    eye[2] = max(eye[2], 0.3)
    width, height = size[::-1] if aim.portrait else size
    hfov = phone.hfov_deg - (16.0 if aim.portrait else 0.0)
    camera = Camera(tuple(eye), tuple(target), width, height, hfov, roll, phone.distortion, phone.fnumber)
    return View(camera, make_light(light, azimuth, rng), hidden)
