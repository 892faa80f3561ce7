"""What things are made of: wood, zinc, rust, paint, leaves, as solid procedural textures (needs bpy).

Noise is what a picture's time goes into: octaves are kept few, indirect light sees flat colours.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy

from .nodes import Colour, Graph, Socket
from .params import DeckParams

#: Early wood, late wood, knot.
WOOD: dict[str, tuple[Colour, Colour, Colour]] = {
    "southern-pine": ((0.40, 0.325, 0.225), (0.25, 0.185, 0.11), (0.10, 0.05, 0.022)),
    "hem-fir": ((0.36, 0.325, 0.225), (0.23, 0.19, 0.115), (0.09, 0.055, 0.022)),
    "western-cedar": ((0.44, 0.235, 0.125), (0.26, 0.11, 0.05), (0.11, 0.035, 0.015)),
    "douglas-fir-larch": ((0.50, 0.345, 0.205), (0.36, 0.215, 0.11), (0.14, 0.06, 0.025)),
}


def _rings(g: Graph, grain: Socket, tone: Socket, knots: Socket) -> Socket:
    """How much late wood: growth rings around the pith, their width and strength varying."""
    wave = g.noise(g.vector("MULTIPLY", grain, (0.55, 3.5, 3.5)), 1, 0, colour=True)
    bent = g.vector("ADD", grain, g.vector("SCALE", g.vector("SUBTRACT", wave, (0.5, 0.5, 0.5)), scale=0.032))
    radius = g.vector("LENGTH", g.vector("MULTIPLY", g.vector("SUBTRACT", bent, (25, 0, 0)), (0.0009, 1, 1)))
    radius = g.math("ADD", radius, g.math("MULTIPLY", g.step(knots, 0.40, 0.08), 0.016))
    count = g.math("MULTIPLY", radius, g.math("ADD", 170.0, g.math("MULTIPLY", tone, 190.0)))
    count = g.math(
        "ADD", count, g.math("MULTIPLY", g.noise(g.vector("MULTIPLY", grain, (1.2, 30, 30)), 1, 0), 1.3)
    )
    phase = g.math("FRACT", count)
    late = g.math("MULTIPLY", g.step(phase, 0.25, 0.86), g.step(phase, 1.0, 0.93))
    ring = g.node("ShaderNodeCombineXYZ")
    g.put(ring.inputs[0], g.math("MULTIPLY", g.math("FLOOR", count), 0.71))
    strength = g.noise(g.vector("ADD", ring.outputs[0], g.vector("MULTIPLY", grain, (0.6, 5, 5))), 1, 0)
    return g.math("MULTIPLY", late, g.math("ADD", 0.15, g.math("MULTIPLY", strength, 1.25)), clamp=True)


def wood(name: str, species: str, weather: float, dirt: float, lichen: float = 0.0) -> bpy.types.Material:
    """Sawn lumber: rings, knots, fibre, checks; greyed by weather, soiled by dirt, spotted by lichen."""
    g = Graph(name)
    grain, tone, place = g.attribute("grain"), g.attribute("tone", "Fac"), g.position()
    early, dark, knot_colour = WOOD[species]
    knots = g.cells(g.vector("MULTIPLY", grain, (2.6, 7.0, 7.0)))
    late = _rings(g, grain, tone, knots)
    fibre = g.noise(g.vector("MULTIPLY", grain, (6, 560, 560)), 1, 0)
    pores = g.noise(g.vector("MULTIPLY", grain, (14, 1500, 1500)), 1, 0)
    colour = g.mix(g.math("MULTIPLY", late, 0.85), early, dark)
    colour = g.mix(g.math("MULTIPLY", g.step(fibre, 0.45, 0.75), 0.26), colour, (0.60, 0.51, 0.37))
    colour = g.mix(g.math("MULTIPLY", g.step(pores, 0.52, 0.72), 0.42), colour, (0.09, 0.06, 0.035))
    colour = g.mix(g.math("MULTIPLY", g.step(pores, 0.46, 0.28), 0.28), colour, (0.64, 0.57, 0.44))
    inner = g.math("FRACT", g.math("MULTIPLY", knots, 38))
    knotty = g.math(
        "MULTIPLY", g.step(knots, 0.17, 0.11), g.math("ADD", 0.62, g.math("MULTIPLY", inner, 0.35))
    )
    colour = g.mix(knotty, colour, knot_colour)
    colour = g.tinted(
        colour,
        g.math("ADD", 0.72, g.math("MULTIPLY", tone, 0.3)),
        g.math("ADD", 0.74, g.math("MULTIPLY", tone, 0.46)),
    )
    colour = _weathered(g, colour, grain, late, fibre, weather)
    crack = _checks(g, grain)
    colour = g.mix(g.math("MULTIPLY", crack, 0.8), colour, (0.03, 0.022, 0.015))
    colour = _soiled(g, colour, place, dirt)
    if lichen > 0:
        colour = _lichen(g, colour, place, lichen)
    flat = tuple((0.55 * a + 0.45 * b) * (1 - 0.35 * dirt) for a, b in zip(early, dark, strict=True))
    return g.surface(
        colour,
        g.math("SUBTRACT", 0.78, g.math("MULTIPLY", late, 0.12)),
        0.0,
        g.bump(fibre, 0.5, 0.0012),
        0.3,
        bounce=flat,
    )


def _weathered(
    g: Graph, colour: Socket, grain: Socket, late: Socket, fibre: Socket, weather: float
) -> Socket:
    patches = g.noise(g.vector("MULTIPLY", grain, (1.2, 8, 8)), 1, 1, 0.62)
    share = g.math(
        "MULTIPLY", g.step(patches, 0.62 - 0.55 * weather, 0.95 - 0.5 * weather), min(1.0, weather * 1.15)
    )
    grey = g.mix(g.math("MULTIPLY", late, 0.55), (0.36, 0.335, 0.30), (0.20, 0.18, 0.155))
    return g.mix(share, colour, g.mix(g.step(fibre, 0.35, 0.75), grey, (0.24, 0.225, 0.205)))


def _checks(g: Graph, grain: Socket) -> Socket:
    """Drying cracks along the grain, in some places only."""
    line = g.math(
        "ABSOLUTE", g.math("SUBTRACT", g.noise(g.vector("MULTIPLY", grain, (1.6, 60, 60)), 1, 0), 0.5)
    )
    gate = g.step(g.noise(g.vector("MULTIPLY", grain, (1.1, 14, 14)), 1, 0), 0.52, 0.66)
    return g.math("MULTIPLY", g.step(line, 0.012, 0.002), gate)


def _soiled(g: Graph, colour: Socket, place: Socket, dirt: float) -> Socket:
    blotch = g.step(g.noise(place, 2.3, 2, 0.68), 0.66 - 0.3 * dirt, 0.92 - 0.3 * dirt)
    colour = g.mix(g.math("MULTIPLY", blotch, dirt), colour, (0.055, 0.043, 0.030))
    runs = g.step(g.noise(g.vector("MULTIPLY", place, (26, 26, 1.7)), 1, 1, 0.6), 0.56, 0.8)
    return g.mix(g.math("MULTIPLY", runs, 0.45 * dirt), colour, (0.05, 0.038, 0.028))


def _lichen(g: Graph, colour: Socket, place: Socket, share: float) -> Socket:
    ragged = g.vector("ADD", place, g.vector("SCALE", g.noise(place, 60, 2, 0.6, colour=True), scale=0.02))
    spots = g.math(
        "MULTIPLY",
        g.step(g.cells(ragged, 22.0), 0.34, 0.26),
        g.step(g.noise(place, 5, 2, 0.6), 0.60 - 0.2 * share, 0.66 - 0.2 * share),
    )
    return g.mix(
        g.math("MULTIPLY", spots, 0.9),
        colour,
        g.mix(g.noise(place, 420, 2, 0.7), (0.42, 0.47, 0.36), (0.22, 0.27, 0.17)),
    )


def metal(name: str, rust: float = 0.0, dull: float = 0.5, bloom: bool = False) -> bpy.types.Material:
    """Galvanised sheet with its spangle; white bloom; rust from the first spots to scale."""
    g = Graph(name)
    place, tone = g.position(), g.attribute("tone", "Fac")
    spangle = g.node("ShaderNodeSeparateColor")
    g.put(spangle.inputs[0], g.cells(place, 150.0, "Color"))
    flake, fine = spangle.outputs[0], g.noise(place, 600, 1, 0.7)
    colour = g.mix(g.math("MULTIPLY", flake, 0.8), (0.52, 0.53, 0.54), (0.25, 0.262, 0.275))
    clouds = g.math("MULTIPLY", g.step(g.noise(place, 28, 3, 0.68), 0.40, 0.72), dull)
    colour = g.mix(clouds, colour, (0.50, 0.50, 0.48))
    if bloom:
        powder = g.step(g.noise(place, 38, 3, 0.72), 0.46, 0.60)
        colour = g.mix(g.math("MULTIPLY", powder, 0.9), colour, (0.74, 0.74, 0.72))
        clouds = g.math("MAXIMUM", clouds, powder)
    grime = g.step(g.noise(g.vector("MULTIPLY", place, (40, 40, 6)), 1, 2, 0.65), 0.5, 0.8)
    colour = g.mix(g.math("MULTIPLY", grime, 0.45), colour, (0.14, 0.12, 0.10))
    rough = g.math(
        "ADD", g.math("ADD", 0.30, g.math("MULTIPLY", flake, 0.24)), g.math("MULTIPLY", clouds, 0.28)
    )
    shine, height = g.math("SUBTRACT", 0.9, g.math("MULTIPLY", clouds, 0.7)), g.math("MULTIPLY", fine, 0.25)
    if rust > 0:
        colour, halo, scale = _rust(g, colour, place, tone, rust)
        rough = g.math("ADD", rough, g.math("MULTIPLY", halo, 0.5), clamp=True)
        shine = g.math("MULTIPLY", shine, g.math("SUBTRACT", 1.0, halo, clamp=True))
        height = g.math("ADD", height, scale)
    return g.surface(
        colour,
        rough,
        shine,
        g.bump(height, 0.6, 0.0007),
        bounce=(0.3, 0.3, 0.3) if rust < 0.3 else (0.2, 0.1, 0.05),
    )


def _rust(
    g: Graph, colour: Socket, place: Socket, tone: Socket, rust: float
) -> tuple[Socket, Socket, Socket]:
    """Rust over a metal's colour: the new colour, its halo (where zinc is gone) and its relief."""
    spread = g.math(
        "ADD", g.noise(place, 16, 4, 0.72), g.math("MULTIPLY", g.math("SUBTRACT", tone, 0.5), 0.2)
    )
    start = 0.80 - 0.52 * rust
    core, halo = g.step(spread, start - 0.03, start + 0.06), g.step(spread, start - 0.13, start + 0.02)
    grainy, speck = g.noise(place, 95, 3, 0.7), g.noise(place, 420, 1, 0.7)
    brown = g.ramp(
        grainy,
        [
            (0.28, (0.035, 0.012, 0.006)),
            (0.44, (0.13, 0.040, 0.013)),
            (0.56, (0.27, 0.088, 0.022)),
            (0.70, (0.40, 0.16, 0.045)),
        ],
    )
    brown = g.mix(g.math("MULTIPLY", speck, 0.5), brown, (0.09, 0.028, 0.012))
    colour = g.mix(g.math("MULTIPLY", halo, 0.55), colour, (0.33, 0.17, 0.075))
    return g.mix(core, colour, brown), halo, g.math("MULTIPLY", core, g.math("ADD", grainy, speck))


def plain(
    name: str,
    colour: Colour,
    rough: float = 0.6,
    shine: float = 0.0,
    *,
    vary: float = 0.25,
    scale: float = 20.0,
    relief_m: float = 0.0005,
    speck: float = 0.0,
    grime: float = 0.25,
) -> bpy.types.Material:
    """One colour that varies, with specks and grime that ran down."""
    g = Graph(name)
    place = g.position()
    broad, fine = g.noise(place, scale, 2, 0.65), g.noise(place, scale * 22, 1, 0.65)
    out = g.mix(broad, tuple(c * (1 - vary) for c in colour), tuple(min(1.0, c * (1 + vary)) for c in colour))
    if speck:
        out = g.mix(g.math("MULTIPLY", g.step(fine, 0.55, 0.7), speck), out, tuple(c * 0.4 for c in colour))
    if grime:
        runs = g.step(g.noise(g.vector("MULTIPLY", place, (9, 9, 1.4)), 1, 3, 0.66), 0.5, 0.85)
        out = g.mix(g.math("MULTIPLY", runs, grime), out, (0.10, 0.085, 0.065))
    mean = sum(colour) / 3  # what lies around is never of one colour: its light is greyer than it is
    bounce = None if rough < 0.1 else tuple(0.9 * (0.4 * c + 0.6 * mean) for c in colour)
    return g.surface(
        out,
        rough,
        shine,
        g.bump(g.math("ADD", broad, g.math("MULTIPLY", fine, 0.7)), 0.6, relief_m),
        bounce=bounce,
    )


def siding(name: str, colour: Colour, ground_m: float) -> bpy.types.Material:
    """Painted lap siding: chalky, with mud splashed up from below, runs, and specks of mildew."""
    g = Graph(name)
    place = g.position()
    split = g.node("ShaderNodeSeparateXYZ")
    g.put(split.inputs[0], place)
    broad, fine = g.noise(place, 5, 2, 0.65), g.noise(place, 110, 2, 0.65)
    out = g.mix(broad, tuple(c * 0.86 for c in colour), tuple(min(1.0, c * 1.1) for c in colour))
    runs = g.step(g.noise(g.vector("MULTIPLY", place, (14, 14, 1.2)), 1, 3, 0.68), 0.50, 0.82)
    out = g.mix(g.math("MULTIPLY", runs, 0.5), out, (0.13, 0.115, 0.09))
    splash = g.math(
        "MULTIPLY", g.step(split.outputs[2], ground_m + 0.9, ground_m + 0.1), g.step(fine, 0.38, 0.62)
    )
    out = g.mix(g.math("MULTIPLY", splash, 0.55), out, (0.16, 0.125, 0.085))
    mildew = g.math("MULTIPLY", g.step(fine, 0.54, 0.80), g.step(g.noise(place, 3.1, 2, 0.6), 0.48, 0.66))
    out = g.mix(g.math("MULTIPLY", mildew, 0.55), out, (0.09, 0.095, 0.08))
    return g.surface(
        out,
        0.55,
        0.0,
        g.bump(g.math("ADD", broad, fine), 0.5, 0.0006),
        bounce=tuple(c * 0.85 for c in colour),
    )


def foliage(name: str, stops: list[tuple[float, Colour]], see_through: float) -> bpy.types.Material:
    """Leaves: a colour for each, a little light through them."""
    g = Graph(name)
    own = g.node("ShaderNodeNewGeometry").outputs["Random Per Island"]
    colour = g.mix(
        g.math("MULTIPLY", g.step(g.noise(g.attribute("grain"), 3, 1), 0.4, 0.7), 0.4),
        g.ramp(own, stops),
        (0.03, 0.02, 0.01),
    )
    return g.surface(colour, 0.58, 0.0, None, 0.3, see_through)


def film(name: str, one: Colour, two: Colour, most: float) -> bpy.types.Material:
    """A streak that fades to its sides and downwards."""
    g = Graph(name)
    grain = g.attribute("grain")
    split = g.node("ShaderNodeSeparateXYZ")
    g.put(split.inputs[0], grain)
    across, down = split.outputs[0], split.outputs[1]
    long, short = (
        g.noise(g.vector("MULTIPLY", grain, (5.5, 1.1, 1)), 1, 3, 0.62),
        g.noise(g.vector("MULTIPLY", grain, (9, 9, 1)), 1, 2, 0.7),
    )
    sides = g.step(g.math("ABSOLUTE", g.math("SUBTRACT", across, 0.5)), 0.5, 0.18)
    fall = g.step(g.math("ADD", down, g.math("MULTIPLY", g.math("SUBTRACT", long, 0.5), 1.1)), 0.95, 0.05)
    alpha = g.math(
        "MULTIPLY",
        g.math("MULTIPLY", sides, fall),
        g.math("MULTIPLY", g.step(down, 0.0, 0.06), g.step(short, 0.25, 0.7)),
    )
    return g.surface(g.mix(short, one, two), 0.85, 0.0, None, 0.2, alpha=g.math("MULTIPLY", alpha, most))


def _fixed(value: Any) -> Any:
    """The same with tuples for lists."""
    return tuple(map(_fixed, value)) if isinstance(value, list) else value


def _table(name: str) -> dict[str, dict[str, Any]]:
    """One table of materials.toml: arguments of the surfaces that no own function makes."""
    with (Path(__file__).parent / "materials.toml").open("rb") as file:
        table = tomllib.load(file)[name]
    return {key: {k: _fixed(v) for k, v in row.items()} for key, row in table.items()}


_LEAVES, _FILMS, _PLAIN = _table("leaves"), _table("films"), _table("plain")


def make(name: str, deck: DeckParams) -> bpy.types.Material:
    """The material of that name for this deck."""
    lichen = 0.5 if deck.look_alike == "lichen" else 0.0
    woods: dict[str, Callable[[], bpy.types.Material]] = {
        "wood": lambda: wood(name, deck.species, deck.weather, deck.dirt, lichen),
        "wood-deck": lambda: wood(
            name, deck.species, min(1.0, deck.weather + 0.25), deck.dirt * 0.8, max(lichen * 0.5, deck.moss)
        ),
        "wood-fence": lambda: plain(
            name, (0.26, 0.24, 0.215), 0.9, vary=0.3, scale=9.0, speck=0.3, grime=0.5
        ),
        "siding": lambda: siding(name, deck.siding_rgb, 0.0),
        "galvanised": lambda: metal(name, 0.0, 0.25 + 0.6 * deck.weather),
        "zinc-bloom": lambda: metal(name, 0.0, 0.8, bloom=True),
    }
    if name in woods:
        return woods[name]()
    if name.startswith("rust-"):
        return metal(name, int(name[5:]) / 10, 0.7)
    if name in _LEAVES:
        return foliage(name, **_LEAVES[name])
    if name in _FILMS:
        return film(name, **_FILMS[name])
    return plain(name, **_PLAIN[name])
