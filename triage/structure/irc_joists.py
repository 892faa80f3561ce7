"""Deck joists: IRC R507.6 and Table R507.6, AWC DCA 6 Table 2; and the same spans by mechanics."""

from __future__ import annotations

from dataclasses import replace

from triage.structure.check import (
    HAZARD,
    Answer,
    Check,
    Facts,
    bracketed,
    cannot_say,
    compare,
    dated,
    limited,
    needs,
)
from triage.structure.limits import limit, limit_source
from triage.structure.loads import (
    Loads,
    assumed_loads,
    design_loads,
    easier_loads,
    table_loads,
)
from triage.structure.nds_members import joist_span_ft, overhang_ft
from triage.structure.sizes import member_bracket
from triage.structure.spans import shortest_span
from triage.structure.tables import EDITION_WORDS, table
from triage.structure.units import printed

TABLE = "irc_r507_6_joists"
_PLACE = "R507.6"
_SOURCE = "IRC Table R507.6"
_OVERHANG_SOURCE = (
    "IRC Table R507.6, cantilevers: by L/180 under 220 lb at the end (footnote, from memory; the values by "
    "NDS 2018, No. 2, wet)"
)
_SINCE = 2015
"""IRC 2015 held the first table of deck joists."""
_WEAKEST = "western-cedar"


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
    harder, easier, beyond = _answers(facts)
    check = bracketed(name, demand, harder, easier, beyond, _PLACE, facts.missing("joist_span_ft"))
    check = replace(check, assumed=assumed_loads(facts))
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def _answers(facts: Facts) -> tuple[Answer, Answer, str]:
    """Return what the harder and the easier cell allow, and why the table does not hold the deck."""
    loads, edition = design_loads(facts), facts.edition
    size, spacing_in = str(facts.get("joist_size")), facts.number("joist_spacing_in")
    columns = table(TABLE)["columns_joist_spacing_in"]
    sides = member_bracket(size)
    _, beyond = table_loads(loads, edition)
    if sides.harder != sides.easier:
        beyond = beyond or f"{EDITION_WORDS[edition]} has no row for {size} {facts.species()}"
    if spacing_in > columns[-1] + 1e-9:
        beyond = beyond or f"joists stand {spacing_in:g} in apart, the table ends at {columns[-1]} in"
    lighter = easier_loads(loads, edition)
    easier = _allowed(facts, sides.easier, min(spacing_in, columns[-1]), lighter)
    if not beyond:
        return easier, easier, ""
    fits = spacing_in <= columns[-1] + 1e-9 and not table_loads(loads, edition)[1]
    harder = _allowed(facts, sides.harder, spacing_in, loads) if fits else Answer(None, beyond, _SOURCE)
    return harder, easier, beyond


def _allowed(facts: Facts, size: str | None, spacing_in: float, loads: Loads) -> Answer:
    """Return the span by Table R507.6 for a size that it holds; the harder of live and snow row governs."""
    if size is None:
        return Answer(None, "the table holds no such size", _SOURCE)
    wanted, _ = table_loads(loads, facts.edition)
    columns = table(TABLE)["columns_joist_spacing_in"]
    best = shortest_span(TABLE, facts, size, wanted, columns, spacing_in)
    if best is None or best.cell is None:
        why = f"{EDITION_WORDS[facts.edition]} has no row for {size} {facts.species()}"
        return Answer(None, why, _SOURCE)
    member = f"{size} {facts.species()} at {best.cell.column} in"
    why = f"{member}: {best.cell.printed} in the {best.load_psf} psf {best.load} row; {loads.said}"
    return Answer(best.span_ft, why + _by_mechanics(facts, size, spacing_in, loads), best.source)


def _by_mechanics(facts: Facts, size: str, spacing_in: float, loads: Loads) -> str:
    """Return the span by bending and deflection in words, or nothing where no design values are held."""
    spans = [
        joist_span_ft(str(facts.species()), size, spacing_in, psf, loads.dead_psf, duration)
        for _, psf, duration in loads.cases()
        if psf > 0
    ]
    known = [span for span in spans if span is not None]
    return f"; by bending and L/360 (NDS 2018, No. 2, wet) {printed(min(known))}" if known else ""


def joist_overhang(facts: Facts) -> Check:
    """Return the joist overhang against what is allowed, ft (R507.6): a quarter of the back span, or less.

    The 2021 table allows less than a quarter to small joists; where size or species is not known, what holds
    for the smallest and weakest joist is within, and what is over a quarter is over.
    """
    name, demand = "joist-overhang", facts.get("joist_overhang_ft")
    missing = facts.missing("joist_overhang_ft", "joist_span_ft")
    span_ft, quarter = facts.get("joist_span_ft"), limit("overhang_share")
    if missing:
        capacity = None if span_ft is None else span_ft * quarter
        return compare(name, HAZARD, demand, capacity, "ft", "", limit_source("overhang_share"), missing)
    size, species = facts.get("joist_size"), facts.species()
    unknown = facts.missing("joist_size", "species")
    sides = member_bracket(str(size)) if size else None
    harder = _overhang_answer(span_ft, sides.harder if sides else "2x6", species or _WEAKEST)
    easier = _overhang_answer(span_ft, sides.easier if sides and species else None, species or _WEAKEST)
    if size and sides and sides.harder is None:
        harder = Answer(None, "", _OVERHANG_SOURCE)
    beyond = (
        "" if harder == easier else f"the table holds no row for {size} joists" if size else "no size known"
    )
    check = bracketed(name, demand, harder, easier, beyond, _PLACE)
    if check.verdict == "cannot-say" and unknown:
        check = compare(name, HAZARD, demand, harder.capacity, "ft", harder.why, harder.source, unknown)
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def _overhang_answer(span_ft: float, size: str | None, species: str) -> Answer:
    """Return the overhang that a joist of the table may have; a quarter of the back span without a size."""
    quarter_ft = span_ft * limit("overhang_share")
    words = f"a quarter of the back span of {span_ft:g} ft"
    if size is None:
        return Answer(quarter_ft, words, limit_source("overhang_share"))
    stiff_ft = overhang_ft(species, size, span_ft)
    if stiff_ft >= quarter_ft:
        return Answer(quarter_ft, words, limit_source("overhang_share"))
    why = f"{size} {species} on a back span of {span_ft:g} ft: {printed(stiff_ft)}, less than {words}"
    return Answer(stiff_ft, why, _OVERHANG_SOURCE)


def joist_bearing(facts: Facts) -> Check | None:
    """Return the bearing that joist ends need against what there is, in (R507.6); null where not measured."""
    there = facts.get("joist_end_bearing_in")
    if there is None:
        return None
    why = "at least 1-1/2 in on wood or metal; 3 in where the joists bear on concrete or masonry"
    source = limit_source("bearing_on_wood_in")
    return compare("joist-bearing", HAZARD, limit("bearing_on_wood_in"), there, "in", why, source)
