"""Deck facts, in the keys of the facts file, from the same parameters that drew the deck."""

from __future__ import annotations

from .build import has_guard
from .design import SAID
from .guards import guard_gap_in, guard_height_in, stair_rises_in
from .layout import layout
from .params import DeckParams
from .units import FT, IN

Fact = str | float | int | bool


#: Facts from which a defect follows without a photo: left out for decks that are to be presorted.
GIVING_AWAY = frozenset(
    {
        "ledger_fastener",
        "ledger_nail",
        "ledger_fastener_spacing_in",
        "ledger_fasteners_per_group",
        "ledger_on",
        "ledger_flashing",
        "beam_size",
        "beam_bearing",
        "post_size",
        "guard_height_in",
        "guard_gap_in",
        "stair_rise_in",
        "stair_rise_spread_in",
    }
)


def facts(deck: DeckParams, *, telling: bool = True) -> dict[str, Fact]:
    """What a person with a tape would write down; without `telling` nothing from which a defect follows.

    Bolt or lag look alike from outside, here it is known.
    """
    found = _measured(deck) | SAID.get(int(deck.code.split("-")[1]) - 1, {})
    return found if telling else {key: value for key, value in found.items() if key not in GIVING_AWAY}


def _measured(deck: DeckParams) -> dict[str, Fact]:
    plan = layout(deck)
    span_ft = (plan.beam_y - plan.ledger_face) / FT
    out: dict[str, Fact] = {
        "live_load_psf": 40,
        "dead_load_psf": 10,
        "height_above_grade_ft": deck.height_ft,
        "attached": True,
        "has_beam": True,
        "has_stairs": deck.has_stairs,
        "has_guard": has_guard(deck),
        "deck_width_ft": deck.width_ft,
        "deck_depth_ft": deck.depth_ft,
        "joist_size": deck.joist_size,
        "joist_spacing_in": deck.joist_spacing_in,
        "joist_span_ft": round(span_ft, 1),
        "joist_overhang_ft": deck.joist_overhang_ft,
        "joist_count": deck.joist_count(),
        "joist_bearing": deck.joist_bearing,
        "species": deck.species,
        "ledger_size": deck.ledger_size,
        "ledger_length_ft": deck.width_ft,
        "ledger_fastener": "half-inch-bolt" if deck.ledger_fastener == "bolt" else "nail",
        "ledger_on": deck.ledger_on,
        "ledger_flashing": deck.flashing,
        "house_side_support": "ledger",
        "beam_size": f"{deck.beam_plies}-{deck.beam_size}",
        "beam_span_ft": round(float(plan.post_x[1] - plan.post_x[0]) / FT, 1),
        "beam_bearing": deck.beam_bearing,
        "post_size": deck.post_size,
        "post_count": deck.post_count,
        "post_height_ft": round(max(0.0, plan.beam_bottom - 0.06) / FT, 1),
    }
    if deck.ledger_fastener == "bolt":
        out |= {
            "ledger_fastener_spacing_in": deck.ledger_bolt_spacing_in,
            "ledger_fasteners_per_group": 1,
            "ledger_sheathing_in": 0.5,
        }
    else:
        out["ledger_nail"] = "16d-common"
    if has_guard(deck):
        out |= {"guard_height_in": guard_height_in(deck), "guard_gap_in": guard_gap_in(deck)}
    if deck.has_stairs:
        rises = stair_rises_in(deck)
        out |= {
            "stair_rise_in": round(max(rises), 2),
            "stair_rise_spread_in": round(max(rises) - min(rises), 2),
            "stair_run_in": 10.4,
            "stair_width_in": round(1.0 / IN, 1),
        }
    return out


def to_toml(
    decks: dict[str, dict[str, Fact]], visits: dict[str, dict[str, dict[str, Fact]]] | None = None
) -> str:
    """The facts file: one table per deck, one per dated visit."""
    lines = ["# Facts of invented decks, from the parameters that drew them.", ""]
    for code, values in decks.items():
        lines += [f'[decks."{code}"]', *(_line(k, v) for k, v in values.items()), ""]
    for code, dated in (visits or {}).items():
        for date, later in dated.items():
            lines += [f'[decks."{code}".visits."{date}"]', *(_line(k, v) for k, v in later.items()), ""]
    return "\n".join(lines)


def _line(key: str, value: Fact) -> str:
    if isinstance(value, bool):
        return f"{key} = {str(value).lower()}"
    return f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}"
