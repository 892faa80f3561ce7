"""Deck joists: IRC R507.6 and Table R507.6, AWC DCA 6 Table 2; the same spans by mechanics beside them."""

from __future__ import annotations

from triage.structure.check import HAZARD, Check, Facts, cannot_say, compare, dated, limited, needs, outside
from triage.structure.limits import limit, limit_source
from triage.structure.loads import design_loads, table_loads
from triage.structure.nds_members import joist_span_ft
from triage.structure.spans import shortest_span
from triage.structure.tables import EDITION_WORDS, table
from triage.structure.units import printed

TABLE = "irc_r507_6_joists"
_PLACE = "R507.6"
_SOURCE = "IRC Table R507.6"
_SINCE = 2015
"""IRC 2015 held the first table of deck joists."""


def joist_checks(facts: Facts) -> list[Check]:
    """Return the joists' checks: span, overhang and, where it was measured, bearing."""
    bearing = joist_bearing(facts)
    return [joist_span(facts), joist_overhang(facts), *([bearing] if bearing else [])]


def joist_span(facts: Facts) -> Check:
    """Return the joist span against the span that the table allows, ft (R507.6, Table R507.6)."""
    name, demand = "joist-span", facts.get("joist_span_ft")
    missing = facts.missing("joist_size", "joist_spacing_in", "species")
    if missing:
        missing += facts.missing("joist_span_ft")
        return cannot_say(name, HAZARD, "ft", needs(missing), _SOURCE, missing, demand)
    capacity, why, source = allowed_span_ft(facts)
    if capacity is None:
        return cannot_say(name, HAZARD, "ft", outside(_PLACE, why), source, (), demand)
    check = compare(name, HAZARD, demand, capacity, "ft", why, source, facts.missing("joist_span_ft"))
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def allowed_span_ft(facts: Facts) -> tuple[float | None, str, str]:
    """Return (span in ft or null, reason, source) by Table R507.6; the harder row governs."""
    loads = design_loads(facts)
    wanted, reason = table_loads(loads, facts.edition)
    if reason:
        return None, reason, _SOURCE
    size, spacing_in = str(facts.get("joist_size")), facts.number("joist_spacing_in")
    columns = table(TABLE)["columns_joist_spacing_in"]
    best = shortest_span(TABLE, facts, size, wanted, columns, spacing_in)
    if best is None:
        return None, f"{EDITION_WORDS[facts.edition]} has no row for {size} {facts.species()}", _SOURCE
    if best.cell is None:
        return None, f"joists stand {spacing_in:g} in apart, the table ends at {columns[-1]} in", _SOURCE
    member = f"{size} {facts.species()} at {best.cell.column} in"
    why = f"{member}: {best.cell.printed} in the {best.load_psf} psf {best.load} row; {loads.said}"
    return best.span_ft, why + _by_mechanics(facts), best.source


def _by_mechanics(facts: Facts) -> str:
    """Return the span by bending and deflection in words, or nothing where no design values are held."""
    loads = design_loads(facts)
    spans = [
        joist_span_ft(
            str(facts.species()),
            str(facts.get("joist_size")),
            facts.number("joist_spacing_in"),
            psf,
            loads.dead_psf,
            duration,
        )
        for _, psf, duration in loads.cases()
        if psf > 0
    ]
    known = [span for span in spans if span is not None]
    return f"; by bending and L/360 (NDS 2018, No. 2, wet) {printed(min(known))}" if known else ""


def joist_overhang(facts: Facts) -> Check:
    """Return the joist overhang against a quarter of the back span, ft (R507.6)."""
    missing = facts.missing("joist_overhang_ft", "joist_span_ft")
    source = limit_source("overhang_share")
    span_ft = facts.get("joist_span_ft")
    capacity = None if span_ft is None else span_ft * limit("overhang_share")
    demand = facts.get("joist_overhang_ft")
    if missing:
        return compare("joist-overhang", HAZARD, demand, capacity, "ft", needs(missing), source, missing)
    why = f"a quarter of the back span of {span_ft:g} ft; the 2021 table sets less for small joists"
    check = compare("joist-overhang", HAZARD, demand, capacity, "ft", why, source)
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def joist_bearing(facts: Facts) -> Check | None:
    """Return the bearing that joist ends need against what there is, in (R507.6); null where not measured."""
    there = facts.get("joist_end_bearing_in")
    if there is None:
        return None
    why = "at least 1-1/2 in on wood or metal; 3 in where the joists bear on concrete or masonry"
    source = limit_source("bearing_on_wood_in")
    return compare("joist-bearing", HAZARD, limit("bearing_on_wood_in"), there, "in", why, source)
