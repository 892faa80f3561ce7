"""The 48 invented decks of the library, and what a second visit found after repair."""

from __future__ import annotations

import numpy as np

from . import design
from .params import DeckParams, check

SEED = 4800
_WEATHER = {"fresh": (0.08, 0.25), "seasoned": (0.35, 0.55), "grey": (0.65, 0.85)}
_SIDING = {
    "white": (0.66, 0.66, 0.63),
    "sage": (0.42, 0.46, 0.40),
    "clay": (0.50, 0.43, 0.36),
    "slate": (0.36, 0.40, 0.44),
}
_SEVERITIES = (0.45, 0.6, 0.75, 0.9)
#: Decks with a second visit, by index: each had something to repair.
SECOND_VISITS = (0, 4, 8, 12)


def deck_code(i: int) -> str:
    """Code of deck number i (from 0)."""
    return f"deck-{i + 1:02d}"


def levels_of(i: int) -> dict[str, str | bool]:
    """What the balanced plan says about deck number i."""
    columns = design.plan_columns()
    out: dict[str, str | bool] = {name: bool(columns[name][i]) for name in design.FAULTS}
    out |= {name: levels[columns[name][i]] for name, levels in design.FACTORS.items()}
    return out


def deck(i: int) -> DeckParams:
    """The parameters of deck number i, from 0 to 47."""
    rng = np.random.default_rng([SEED, i])
    return drawn(deck_code(i), SEED + i, levels_of(i), rng, design.HEIGHTS_FT.get(i), sound=i in design.SOUND)


def drawn(
    code: str,
    seed: int,
    level: dict[str, str | bool],
    rng: np.random.Generator,
    height_ft: float | None = None,
    *,
    sound: bool = False,
) -> DeckParams:
    """A deck of some levels; the rest is drawn. `sound` ones have no lesser fault either."""
    joist = str(rng.choice(["2x8", "2x8", "2x10"]))
    shape: dict[str, object] = {
        "code": code,
        "seed": seed,
        "species": level["species"],
        "weather": round(float(rng.uniform(*_WEATHER[str(level["weather"])])), 2),
        "dirt": round(float(rng.uniform(0.1, 0.75)), 2),
        "siding_rgb": tuple(
            round(c * float(rng.uniform(0.93, 1.05)), 3) for c in _SIDING[str(level["siding"])]
        ),
        "siding_exposure_in": float(rng.choice([4.0, 5.5, 6.5])),
        "width_ft": float(rng.choice([10, 12, 14])),
        "depth_ft": float(rng.choice([8, 10, 12])),
        "height_ft": round(float(rng.uniform(3.7, 6.2)), 1),
        "joist_size": joist,
        "joist_spacing_in": float(rng.choice([12, 16, 16])),
        "joist_overhang_ft": float(rng.choice([1.0, 1.5, 2.0])),
        "ledger_size": str(rng.choice([joist, "2x10"])),
        "beam_size": str(rng.choice(["2x10", "2x12"])),
        "look_alike": level["look_alike"],
        "has_stairs": bool(rng.random() < 0.5),
        "moss": round(float(rng.choice([0, 0, 0.4])), 1),
        "beam_bearing": "side-bolted"
        if level["side_bolted"]
        else str(rng.choice(["notched", "notched", "on-post"])),
        "debris": float(rng.choice(_SEVERITIES)) if level["debris"] else float(rng.choice([0.0, 0.0, 0.1])),
        "ledger_fastener": "nail" if level["nailed"] else "bolt",
    }
    if height_ft is not None:
        shape["height_ft"] = height_ft
        if height_ft < design.GROUND_HUGGING_FT:
            shape["beam_size"] = "2x6"  # a deeper beam would stand in the ground
    plain = DeckParams(**shape)  # type: ignore[arg-type]
    shape |= _hangers(plain, level, rng)
    if not sound:
        shape |= _lesser_faults(plain, shape, rng)
    else:
        shape |= {"has_stairs": True}
    return check(DeckParams(**shape))  # type: ignore[arg-type]


def _hangers(plain: DeckParams, level: dict[str, str | bool], rng: np.random.Generator) -> dict[str, object]:
    """Which hangers are missing or rusted; the others may look odd without being faulty."""
    inner = [int(j) for j in rng.permutation(np.arange(2, plain.joist_count() - 2))]
    lost = tuple(sorted(inner[: int(rng.integers(1, 3))])) if level["missing"] else ()
    rest = [j for j in inner if j not in lost]
    out: dict[str, object] = {
        "missing_hangers": lost,
        "missing_gap_in": round(float(rng.choice([0.1, 0.25, 0.45])), 2),
    }
    severity = float(rng.choice(_SEVERITIES))
    if level["rusted"]:
        struck = sorted(rest[: max(1, len(rest) // 2)])
        out["rusted_hangers"] = tuple(
            (j, round(min(1.0, severity * float(rng.uniform(0.85, 1.1))), 2)) for j in struck
        )
        out["rust_streaks"], out["bolt_rust"] = (
            bool(rng.random() < 0.7),
            round(float(rng.choice([0.0, 0.0, severity])), 2),
        )
    elif rng.random() < 0.35:
        out["rusted_hangers"] = tuple(
            (j, 0.12) for j in sorted(rest[:2])
        )  # first specks: not what 'rusted' means
    style = rng.random()
    if not level["missing"] and not level["rusted"] and style < 0.4:
        out |= {"joist_bearing": "ledger-strip", "rusted_hangers": ()}
    elif style > 0.85:
        out["hanger_style"] = "concealed"
    elif style > 0.68 and not level["rusted"]:
        out["hanger_style"] = "black-coated"
    return out


def _lesser_faults(
    plain: DeckParams, shape: dict[str, object], rng: np.random.Generator
) -> dict[str, object]:
    """Faults that are not core tags, each on some decks."""
    out: dict[str, object] = {
        "ledger_on": str(rng.choice(["band-joist"] * 8 + ["siding", "house-cantilever"])),
        "flashing": str(rng.choice(["over-ledger"] * 7 + ["none", "none", "over-decking"])),
        "hanger_nailing": str(rng.choice(["full"] * 7 + ["few", "screws"])),
        "guard_fault": str(rng.choice(["none"] * 7 + ["wide-gaps", "low", "baluster-missing"])),
        "ledger_bolt_spacing_in": float(rng.choice([16, 16, 16, 32])),
    }
    if shape["has_stairs"]:
        out["stair_fault"] = str(rng.choice(["none"] * 4 + ["uneven-rise", "loose-tread"]))
    if shape["beam_bearing"] == "on-post" and rng.random() < 0.5:
        out |= {"post_size": "4x4", "post_seated": False}
    elif rng.random() < 0.12:
        out["beam_plies"] = 1
    return out


def repaired(first: DeckParams) -> DeckParams:
    """The same deck after repair of its core faults: same boards, same places."""
    return first.changed(
        missing_hangers=(),
        rusted_hangers=(),
        rust_streaks=False,
        bolt_rust=0.0,
        ledger_fastener="bolt",
        ledger_bolt_spacing_in=16.0,
        debris=0.0,
        flashing="over-ledger" if first.flashing == "none" else first.flashing,
    )
