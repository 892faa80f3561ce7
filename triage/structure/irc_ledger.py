"""Ledger to band joist by the published tables: IRC R507.9.1.3, R507.8, R507.9.1.1; AWC DCA 6."""

from __future__ import annotations

from dataclasses import replace

from triage.structure.check import (
    CANNOT_SAY,
    HAZARD,
    OVER,
    POOR_SCREWS,
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
from triage.structure.loads import design_loads, table_loads
from triage.structure.tables import EDITION_WORDS, harder_cell, rows, source_of, table

TABLE = "irc_r507_9_1_3_ledger"
_PLACE = "R507.9.1.3(1)"
_SINCE = 2009
"""IRC 2009 R502.2.2.1 held the first ledger table."""
_NAILS = (
    "a ledger may not hang on toe-nails or on nails subject to withdrawal (R507.8); nails back out as the "
    "wood swells and dries, and nothing warns before they let go"
)
_LEDGER_SOURCE = "IRC R507.8, R507.9.1.3"
_ON = {
    "house-cantilever": "a house overhang or bay is not made to carry a deck (DCA 6, prohibited attachments)",
    "veneer": "a ledger is not supported on stone or masonry veneer (R507.9.1.1)",
    "siding": "siding under a ledger crushes and holds water; it is removed first (DCA 6)",
    "stucco": "stucco under a ledger cracks and holds water; it is removed first (DCA 6)",
}
_ENGINEER_ON = {
    "concrete": "anchors into concrete are designed for it",
    "masonry": "anchors into masonry are designed for it",
    "open-web-truss": "an open-web floor has no band joist to bolt to",
    "engineered-rim": "a ledger on an engineered rim board is designed in accordance with accepted practice",
}


def ledger_checks(facts: Facts) -> list[Check]:
    """Return the ledger's checks by the tables: spacing and placement."""
    return [ledger_spacing(facts), ledger_placement(facts)]


def ledger_spacing(facts: Facts) -> Check:
    """Return the spacing there is against the largest the table allows (Table R507.9.1.3(1)), inches."""
    name = "ledger-spacing-table"
    demand = effective_spacing_in(facts)
    by_maker = _by_maker(facts)
    if by_maker is not None:
        return limited(by_maker, facts, _PLACE)
    refusal = _not_by_table(facts)
    if refusal is not None:
        missing, why = refusal
        return cannot_say(name, HAZARD, "in", why, _LEDGER_SOURCE, missing, demand)
    wanted = facts.missing("joist_span_ft", "ledger_sheathing_in")
    if wanted:
        wanted += facts.missing("ledger_fastener_spacing_in")
        return cannot_say(name, HAZARD, "in", needs(wanted), _LEDGER_SOURCE, wanted, demand)
    column, reason = table_fastener(facts)
    capacity, why, source = (None, reason, _LEDGER_SOURCE) if reason else allowed_spacing_in(facts, column)
    if capacity is None:
        return cannot_say(name, HAZARD, "in", outside(_PLACE, why), source, (), demand)
    lacking = facts.missing("ledger_fastener_spacing_in")
    if facts.get("ledger_on") is None:
        why += "; holds for a 2x solid-sawn band joist (ledger_on is not known)"
    check = compare(name, HAZARD, demand, capacity, "in", why, source, lacking)
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def _by_maker(facts: Facts) -> Check | None:
    """Return the check of structural screws that a person compared with their maker's table, else null."""
    met = facts.get("ledger_screw_schedule_met")
    if facts.get("ledger_fastener") != "structural-screw" or met is None or facts.get("ledger_on") in _ON:
        return None
    how = "meet" if met else "do not meet"
    why = f"the head's marking was read; size, number and spacing {how} the maker's table"
    verdict = WITHIN if met else OVER
    source = "the screw maker's evaluation report, as read on site (IRC R507.9.1.3 (from memory))"
    return Check("ledger-spacing-table", HAZARD, None, None, None, "in", verdict, (), why, source)


def effective_spacing_in(facts: Facts) -> float | None:
    """Return the ledger length that falls to one fastener: spacing over fasteners at each place."""
    spacing = facts.get("ledger_fastener_spacing_in")
    return None if spacing is None else float(spacing) / int(facts.get("ledger_fasteners_per_group", 1))


def _not_by_table(facts: Facts) -> tuple[tuple[str, ...], str] | None:
    """Return (missing facts, reason) when the fastener or what it goes into is not in the table."""
    fastener = facts.get("ledger_fastener")
    if fastener is None:
        return ("ledger_fastener",), (
            "not known: ledger_fastener; a bolt's head and a lag screw's look alike from outside"
        )
    if fastener == "nail":
        return (), f"no table holds nails: {_NAILS}"
    if fastener == "structural-screw":
        return (), outside(_PLACE, "structural screws go by their own report, which is not held here")
    if fastener in POOR_SCREWS:
        return (), f"no table holds these screws: {POOR_SCREWS[str(fastener)]}"
    if fastener == "other":
        return (), outside(_PLACE, "the fastener is neither a 1/2 in bolt nor a 1/2 in lag screw")
    on = facts.get("ledger_on")
    if on in _ON:
        return (), outside(_PLACE, _ON[on])
    if on in _ENGINEER_ON and not (on == "engineered-rim" and facts.edition == "dca6-2015"):
        return (), outside(_PLACE, _ENGINEER_ON[on])
    if facts.values.get("ledger_on") == "unknown":
        return ("ledger_on",), "not known: ledger_on; the table is for a ledger on a band joist"
    return None


def table_fastener(facts: Facts) -> tuple[str, str]:
    """Return the table's fastener line for sheathing and washers, or why there is none.

    Table R507.9.1.3(1) and its footnotes: sheathing up to 1/2 in; bolts with sheathing or stacked washers up
    to 1 in in all, washers at most 1/2 in; ledger 2x8 or deeper.
    """
    fastener = str(facts.get("ledger_fastener"))
    sheathing_in = facts.number("ledger_sheathing_in")
    washers_in = float(facts.get("ledger_stacked_washers_in", 0.0))
    size = facts.get("ledger_size")
    if size is not None and int(size.split("x")[1]) < 8:
        return "", f"the ledger is {size}, the table is for 2x8 or deeper"
    rim = "-rim" if facts.get("ledger_on") == "engineered-rim" else ""
    if sheathing_in <= 0.5 and washers_in == 0:
        return fastener + rim, ""
    if fastener == "half-inch-lag":
        return "", "lag screws are for sheathing up to 1/2 in, without stacked washers"
    if washers_in > 0.5:
        return "", f"stacked washers are {washers_in:g} in, the table ends at 1/2 in"
    if sheathing_in + washers_in > 1.0 + 1e-9:
        return "", f"sheathing and washers are {sheathing_in + washers_in:g} in, the table ends at 1 in"
    return ("", "no line for a gap at an engineered rim board") if rim else (f"{fastener}-gap", "")


def allowed_spacing_in(facts: Facts, fastener: str) -> tuple[float | None, str, str]:
    """Return (largest spacing in inches or null, reason, source) of a line; the harder row governs."""
    loads = design_loads(facts)
    span_ft = facts.number("joist_span_ft")
    wanted, reason = table_loads(loads, facts.edition)
    if reason:
        return None, reason, _LEDGER_SOURCE
    columns = table(TABLE)["columns_joist_span_ft"]
    best: tuple[float, str, str] | None = None
    for kind, psf in wanted:
        for row in rows(TABLE, facts.edition, fastener=fastener, load=kind, load_psf=psf):
            cell = harder_cell(columns, row["spacing_in"], span_ft)
            if cell is None:
                return None, f"joists span {span_ft:g} ft, the table ends at {columns[-1]} ft", _LEDGER_SOURCE
            why = f"{psf} psf {kind} row, {cell.column} ft column, for joists of {span_ft:g} ft; {loads.said}"
            if best is None or cell.printed < best[0]:
                best = float(cell.printed), why, source_of(TABLE, row, facts.edition)
    if best is None:
        return None, f"{EDITION_WORDS[facts.edition]} has no line for this fastener", _LEDGER_SOURCE
    return best


def ledger_placement(facts: Facts) -> Check:
    """Return whether the fasteners stand where they should (R507.9.1.3(2)) and what they go into."""
    name, limits = "ledger-placement", table("irc_r507_9_1_3_placement")
    source = str(limits["source"])
    check = Check(name, HAZARD, None, None, None, "", CANNOT_SAY, (), "", source)
    on = facts.get("ledger_on")
    if facts.get("ledger_fastener") == "nail":
        also = f"; {_ON[on]}" if on in _ON else ""
        return replace(check, why=f"placement is said of bolts and lag screws only: {_NAILS}{also}")
    faults = _placement_faults(facts)
    if on in _ON:
        faults.insert(0, _ON[on])
    if faults:
        return dated(replace(check, verdict=OVER, why="; ".join(faults)), facts, _SINCE)
    keys = ("ledger_fastener", "ledger_on", "ledger_edge_in", "ledger_end_in", "ledger_row_spacing_in")
    missing = facts.missing(*keys)
    if missing:
        return replace(check, missing=missing, why=needs(missing))
    if facts.get("ledger_fastener") in ("structural-screw", *POOR_SCREWS) or (
        on in _ENGINEER_ON and on != "engineered-rim"
    ):
        reason = _ENGINEER_ON.get(on, "screws go by their maker's report")
        return replace(check, why=outside("R507.9.1.3(2)", reason))
    why = "edge, end and row distances are kept; that they are staggered and meet sound wood is seen on site"
    return replace(check, verdict=WITHIN, why=why)


def _placement_faults(facts: Facts) -> list[str]:
    limits = table("irc_r507_9_1_3_placement")
    rules = (
        ("ledger_edge_in", "ledger_top_edge_in", "from the ledger's top edge"),
        ("ledger_end_in", "ledger_ends_in", "from the ledger's end"),
        ("ledger_row_spacing_in", "row_spacing_min_in", "between the rows"),
    )
    faults = [
        f"{facts.number(key):g} in {words}, at least {limits[limit]:g} in are needed"
        for key, limit, words in rules
        if facts.get(key) is not None and facts.number(key) < limits[limit] - 1e-9
    ]
    rows_in = facts.get("ledger_row_spacing_in")
    if rows_in is not None and rows_in > limits["row_spacing_max_in"] + 1e-9:
        faults.append(f"{rows_in:g} in between the rows, at most {limits['row_spacing_max_in']:g} in")
    return faults
