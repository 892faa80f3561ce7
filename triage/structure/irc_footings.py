"""Footings of a deck: IRC R507.3, Table R507.3.1."""

from __future__ import annotations

import math
from dataclasses import replace

from triage.structure.check import (
    ASSUMED_LOADS,
    DEPARTS,
    OUTSIDE,
    WITHIN,
    Check,
    Facts,
    cannot_say,
    compare,
    dated,
    limited,
    needs,
    outside,
)
from triage.structure.loads import design_loads
from triage.structure.tables import harder_cell, table
from triage.structure.tributary import tributary_area

TABLE = "irc_r507_3_footings"
_PLACE = "R507.3.1"
_SINCE = 2018
_SOIL_PSF = 1500.0
_SMALLEST_IN = {"square": 12.0, "round": 14.0}
_THINNEST_IN, _POST_IN = 6.0, 5.5


def footing_size(facts: Facts) -> Check:
    """Return the footing's width needed against the width there is, in (R507.3.1).

    Where thickness or depth fails by more than the width, its numbers are shown instead. Beyond the table's
    last row, and on soil weaker than its first, the footing is judged by that row: smaller than it is over.
    """
    name, there = "footing-size", facts.get("footing_width_in")
    area, words, wanted = tributary_area(facts)
    missing = (*wanted, *facts.missing("footing_shape"))
    source = str(table(TABLE)["sources"]["irc"])
    if area is None or missing:
        missing += facts.missing("footing_width_in")
        return cannot_say(name, DEPARTS, "in", needs(missing), source, missing)
    width, thickness, how, beyond = needed_in(facts, area, str(facts.get("footing_shape")))
    why = f"{facts.get('footing_shape')} footing, {words}; {how}"
    check = compare(name, DEPARTS, width, there, "in", why, source, facts.missing("footing_width_in"))
    for demand, key, part in (
        (thickness, "footing_thickness_in", "thickness"),
        (12.0, "footing_depth_in", "depth"),
    ):
        value = facts.get(key)
        if value is not None and value < demand - 1e-9:
            also = compare(name, DEPARTS, demand, value, "in", f"{part} of the footing; {why}", source)
            check = also if _worse(also, check) else check
    if beyond and check.verdict == WITHIN:
        check = cannot_say(name, DEPARTS, "in", outside(_PLACE, beyond), source)
    elif beyond:
        check = replace(check, reason=OUTSIDE)
    measured = ("footing_thickness_in", "footing_depth_in", "soil_psf", "tributary_area_sqft")
    assumed = facts.missing(*measured, *ASSUMED_LOADS)
    return dated(limited(replace(check, assumed=assumed), facts, _PLACE), facts, _SINCE)


def _worse(one: Check, other: Check) -> bool:
    """Return whether a failing part outweighs what was found so far."""
    if other.ratio is None:
        return other.verdict != "over"
    return one.ratio is None or one.ratio > other.ratio


def needed_in(facts: Facts, area_sqft: float, shape: str) -> tuple[float, float, str, str]:
    """Return (width, thickness, how found, why the table does not reach) in inches.

    40 psf live, 10 psf dead and 1500 psf soil read the table. Other loads and soils up to its last row are
    load over soil pressure, rounded up (the same rule, R507.3.1 with Table R401.4.1), and on 1500 psf soil
    never less than the table. Where the table does not reach, the width is that of its nearest easier row.
    """
    data, loads = table(TABLE), design_loads(facts)
    soil_psf = float(facts.get("soil_psf", _SOIL_PSF))
    columns = data["columns_tributary_area_sqft"]
    beyond = ""
    if area_sqft > columns[-1] + 1e-9:
        beyond = f"{area_sqft:.0f} sq ft on one footing, the table ends at {columns[-1]}"
    if soil_psf < _SOIL_PSF:
        beyond = beyond or f"the soil carries {soil_psf:g} psf, the table begins at {_SOIL_PSF:g}"
    variable_psf = max(loads.live_psf, loads.snow_psf)
    light = variable_psf <= data["load_psf"] and loads.dead_psf <= data["dead_load_psf"]
    width, thickness, how = 0.0, 0.0, ""
    if soil_psf <= _SOIL_PSF:
        row = next(row for row in data["row"] if row["shape"] == shape)
        area_held = min(area_sqft, columns[-1])
        cell = harder_cell(columns, row["width_in"], area_held)
        thick = harder_cell(columns, data["thickness"]["thickness_in"], area_held)
        if cell is not None and thick is not None:
            width, thickness = float(cell.printed), float(thick.printed)
            how = f"row of {cell.column} sq ft, 1500 psf soil; {loads.said}"
    if soil_psf > _SOIL_PSF or not light:
        pressed = _by_pressure(area_sqft * (variable_psf + loads.dead_psf), max(soil_psf, _SOIL_PSF), shape)
        if pressed > width:
            width, how = pressed, f"load over {max(soil_psf, _SOIL_PSF):g} psf soil; {loads.said}"
        side = width if shape == "square" else math.sqrt(math.pi) / 2 * width
        thickness = max(thickness, _THINNEST_IN, math.ceil((side - _POST_IN) / 2 - 1e-9))
    return width, thickness, how, beyond


def _by_pressure(load_lb: float, soil_psf: float, shape: str) -> float:
    """Return side or diameter in whole inches, rounded up, that spreads a load on the soil."""
    area_sqft = load_lb / soil_psf
    width_in = 12 * (math.sqrt(area_sqft) if shape == "square" else 2 * math.sqrt(area_sqft / math.pi))
    return max(_SMALLEST_IN[shape], float(math.ceil(width_in - 1e-9)))
