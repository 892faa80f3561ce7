"""Ledger to band joist by the published tables: IRC R507.9.1.3, R507.8, R507.9.1.1; AWC DCA 6."""

from __future__ import annotations

from dataclasses import replace

from triage.structure.check import (
    ATTACHMENT,
    CANNOT_SAY,
    COMPARED,
    EDGES,
    HAZARD,
    MISSING,
    NOT_COUNTED,
    OUTSIDE,
    OVER,
    POOR_SCREWS,
    WITHIN,
    Answer,
    Check,
    Facts,
    bracketed,
    cannot_say,
    dated,
    limited,
    needs,
    outside,
)
from triage.structure.loads import Loads, assumed_loads, design_loads, easier_loads, table_loads
from triage.structure.sizes import dressed_in, parts
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


def ledger_spacing(facts: Facts) -> Check:
    """Return the spacing there is against the largest the table allows (Table R507.9.1.3(1)), inches.

    What the table does not hold is read in its nearest easier cell: over that is over, within it nothing is
    said. Nothing is within where nobody has said what the ledger is fastened to.
    """
    name = "ledger-spacing-table"
    demand = effective_spacing_in(facts)
    fastener = facts.get("ledger_fastener")
    if fastener is None:
        why = "not known: ledger_fastener; a bolt's head and a lag screw's look alike from outside"
        return cannot_say(name, HAZARD, "in", why, _LEDGER_SOURCE, ("ledger_fastener",), demand)
    if fastener == "nail":
        check = cannot_say(name, HAZARD, "in", f"no table holds nails: {_NAILS}", _LEDGER_SOURCE, (), demand)
        return replace(check, reason=NOT_COUNTED)
    if fastener in POOR_SCREWS:
        why = f"no table holds these screws: {POOR_SCREWS[str(fastener)]}"
        check = cannot_say(name, HAZARD, "in", why, _LEDGER_SOURCE, (), demand)
        return replace(check, reason=NOT_COUNTED)
    by_maker = _by_maker(facts)
    if by_maker is not None:
        return limited(by_maker, facts, _PLACE)
    if fastener == "structural-screw":
        why = outside(_PLACE, "structural screws go by their own report, which is not held here")
        return cannot_say(name, HAZARD, "in", why, _LEDGER_SOURCE, (), demand)
    wanted = facts.missing("joist_span_ft", "ledger_sheathing_in")
    if wanted:
        wanted += facts.missing("ledger_fastener_spacing_in")
        return cannot_say(name, HAZARD, "in", needs(wanted), _LEDGER_SOURCE, wanted, demand)
    lacking = facts.missing("ledger_fastener_spacing_in")
    harder, easier, beyond = _answers(facts)
    check = bracketed(name, demand, harder, easier, beyond, _PLACE, lacking, unit="in")
    if check.verdict == WITHIN and facts.get("ledger_on") is None:
        missing = ("ledger_on",)
        why = f"{check.why}; not known: ledger_on; the table is for a ledger on a band joist"
        check = replace(check, verdict=CANNOT_SAY, reason=MISSING, ratio=None, missing=missing, why=why)
    assumed = (*assumed_loads(facts), *facts.missing("ledger_stacked_washers_in", "ledger_size"))
    return dated(limited(replace(check, assumed=assumed), facts, _PLACE), facts, _SINCE)


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


def _answers(facts: Facts) -> tuple[Answer, Answer, str]:
    """Return what the table allows, what its nearest easier cell allows, and why the table does not reach."""
    loads, edition = design_loads(facts), facts.edition
    line, easier_line, beyond = table_fastener(facts)
    beyond = beyond or _not_on_a_band(facts) or table_loads(loads, edition)[1]
    span_ft, columns = facts.number("joist_span_ft"), table(TABLE)["columns_joist_span_ft"]
    if span_ft > columns[-1] + 1e-9:
        beyond = beyond or f"joists span {span_ft:g} ft, the table ends at {columns[-1]} ft"
    lighter = easier_loads(loads, edition)
    easier = allowed_spacing_in(facts, easier_line, min(span_ft, columns[-1]), lighter)
    if not beyond and line == easier_line:
        return easier, easier, "" if easier.capacity is not None else easier.why
    return Answer(None, beyond, _LEDGER_SOURCE), easier, beyond


def _not_on_a_band(facts: Facts) -> str:
    """Return why the table does not hold what the ledger is fastened with or to; empty where it does."""
    if facts.get("ledger_fastener") == "other":
        return "the fastener is neither a 1/2 in bolt nor a 1/2 in lag screw"
    on = facts.get("ledger_on")
    if on == "engineered-rim" and facts.edition == "dca6-2015":
        return ""
    return _ON.get(on, "") or _ENGINEER_ON.get(on, "")


def table_fastener(facts: Facts) -> tuple[str, str, str]:
    """Return the table's fastener line for a gap, the nearest easier line, and why they differ.

    Table R507.9.1.3(1) and its footnotes: sheathing up to 1/2 in; bolts with sheathing or stacked washers up
    to 1 in in all, washers at most 1/2 in; ledger 2x8 or deeper. A fastener of another kind is at best a
    bolt.
    """
    given = str(facts.get("ledger_fastener"))
    fastener = "half-inch-bolt" if given == "other" else given
    sheathing_in = facts.number("ledger_sheathing_in")
    washers_in = float(facts.get("ledger_stacked_washers_in", 0.0))
    rim = "-rim" if facts.get("ledger_on") == "engineered-rim" and facts.edition == "dca6-2015" else ""
    size = facts.get("ledger_size")
    small = _too_small(size) if size is not None else ""
    if sheathing_in <= 0.5 + 1e-9 and washers_in == 0:
        return fastener + rim, fastener + rim, small
    if fastener == "half-inch-lag":
        why = "lag screws are for sheathing up to 1/2 in, without stacked washers"
        return "", fastener + rim, small or why
    if rim:
        return "", fastener + rim, small or "no line for a gap at an engineered rim board"
    if washers_in > 0.5 + 1e-9:
        small = small or f"stacked washers are {washers_in:g} in, the table ends at 1/2 in"
    if sheathing_in + washers_in > 1.0 + 1e-9:
        total_in = sheathing_in + washers_in
        small = small or f"sheathing and washers are {total_in:g} in, the table ends at 1 in"
    return f"{fastener}-gap", f"{fastener}-gap", small


def _too_small(size: str) -> str:
    """Return why a ledger's size is not the table's: 2x8 or deeper (R507.9.1.1)."""
    thickness, depth = parts(size)
    if thickness < 2 or depth < 8:
        return f"the ledger is {size}, the table is for 2x8 or deeper"
    return ""


def allowed_spacing_in(facts: Facts, fastener: str, span_ft: float, loads: Loads) -> Answer:
    """Return the largest spacing of a line in inches; the harder of live and snow row governs."""
    wanted, _ = table_loads(loads, facts.edition)
    columns = table(TABLE)["columns_joist_span_ft"]
    best: Answer | None = None
    for kind, psf in wanted:
        for row in rows(TABLE, facts.edition, fastener=fastener, load=kind, load_psf=psf):
            cell = harder_cell(columns, row["spacing_in"], span_ft)
            if cell is None:
                continue
            why = f"{psf} psf {kind} row, {cell.column} ft column, for joists of {span_ft:g} ft; {loads.said}"
            if best is None or best.capacity is None or cell.printed < best.capacity:
                best = Answer(float(cell.printed), why, source_of(TABLE, row, facts.edition))
    if best is None:
        return Answer(None, f"{EDITION_WORDS[facts.edition]} has no line for this fastener", _LEDGER_SOURCE)
    return best


def ledger_placement(facts: Facts) -> Check:
    """Return whether the fasteners are where they should be (R507.9.1.3(2)) and what they go into.

    The distance to the ledger's bottom edge follows from its depth where it was not measured; a ledger whose
    size is not known is taken as the shallowest that the table allows.
    """
    name, limits = "ledger-placement", table("irc_r507_9_1_3_placement")
    source = str(limits["source"])
    check = Check(name, HAZARD, None, None, None, "", CANNOT_SAY, (), "", source, MISSING)
    on = facts.get("ledger_on")
    if facts.get("ledger_fastener") == "nail":
        also = f"; {_ON[on]}" if on in _ON else ""
        why = f"the placement rule covers bolts and lag screws only: {_NAILS}{also}"
        return replace(check, why=why, reason=NOT_COUNTED)
    edges = _placement_faults(facts)
    faults = [*([_ON[on]] if on in _ON else []), *edges]
    missing = facts.missing(
        "ledger_fastener", "ledger_on", "ledger_edge_in", "ledger_end_in", "ledger_row_spacing_in"
    )
    if faults:
        check = replace(check, verdict=OVER, missing=missing, why="; ".join(faults))
        return dated(replace(check, reason=EDGES if edges else ATTACHMENT), facts, _SINCE)
    if not missing and facts.get("ledger_size") is None and _bottom_fault(facts, _SHALLOWEST):
        missing = ("ledger_size",)
    if missing:
        return replace(check, missing=missing, why=needs(missing))
    if facts.get("ledger_fastener") in ("structural-screw", "other", *POOR_SCREWS):
        why = "screws go by their maker's report"
        return replace(check, why=outside("R507.9.1.3(2)", why), reason=OUTSIDE)
    if on in _ENGINEER_ON and on != "engineered-rim":
        return replace(check, why=outside("R507.9.1.3(2)", _ENGINEER_ON[on]), reason=OUTSIDE)
    size = facts.get("ledger_size")
    if size is not None and _too_small(size):
        return replace(check, why=outside("R507.9.1.3(2)", _too_small(size)), reason=OUTSIDE)
    why = "edge, end and row distances are kept; that they are staggered and meet sound wood is seen on site"
    assumed = facts.missing("ledger_size", *_BAND_KEYS)
    return replace(check, verdict=WITHIN, why=why, reason=COMPARED, assumed=assumed)


_SHALLOWEST = "2x8"
_BAND_KEYS = ("band_top_edge_in", "band_bottom_edge_in")
_LEAST = (
    ("ledger_edge_in", "ledger_top_edge_in", "from the ledger's top edge"),
    ("ledger_bottom_edge_in", "ledger_bottom_edge_in", "from the ledger's bottom edge"),
    ("ledger_end_in", "ledger_ends_in", "from the ledger's end"),
    ("ledger_row_spacing_in", "row_spacing_min_in", "between the rows"),
    ("band_top_edge_in", "band_top_edge_in", "from the band joist's top edge"),
    ("band_bottom_edge_in", "band_bottom_edge_in", "from the band joist's bottom edge"),
)


def _placement_faults(facts: Facts) -> list[str]:
    limits = table("irc_r507_9_1_3_placement")
    faults = [
        f"{facts.number(key):g} in {words}, at least {limits[limit]:g} in are needed"
        for key, limit, words in _LEAST
        if facts.get(key) is not None and facts.number(key) < limits[limit] - 1e-9
    ]
    rows_in = facts.get("ledger_row_spacing_in")
    if rows_in is not None and rows_in > limits["row_spacing_max_in"] + 1e-9:
        faults.append(f"{rows_in:g} in between the rows, at most {limits['row_spacing_max_in']:g} in")
    size = facts.get("ledger_size")
    below = _bottom_fault(facts, size) if size is not None else ""
    return [*faults, *([below] if below else [])]


def _bottom_fault(facts: Facts, size: str) -> str:
    """Return what is wrong below the lower row in a ledger of a size; empty where there is room enough.

    One row where nobody gave the distance between two.
    """
    edge_in, apart_in = facts.get("ledger_edge_in"), facts.get("ledger_row_spacing_in")
    if edge_in is None or facts.get("ledger_bottom_edge_in") is not None:
        return ""
    needed_in = float(table("irc_r507_9_1_3_placement")["ledger_bottom_edge_in"])
    left_in = dressed_in(parts(size)[1]) - float(edge_in) - float(apart_in or 0.0)
    if left_in >= needed_in - 1e-9:
        return ""
    where = f"{left_in:.3g} in above" if left_in >= 0 else f"{-left_in:.3g} in below"
    return f"the lower row lies {where} the bottom edge of a {size}, at least {needed_in:g} in are needed"
