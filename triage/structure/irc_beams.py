"""Deck beams: IRC R507.5 and Tables R507.5(1) to (5), AWC DCA 6 Table 3A."""

from __future__ import annotations

from dataclasses import replace

from triage.structure.check import (
    CANNOT_SAY,
    COMPARED,
    HAZARD,
    MISSING,
    OVER,
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
from triage.structure.nds_members import beam_span_ft, beam_width_ft
from triage.structure.sizes import beam_bracket
from triage.structure.spans import shortest_span
from triage.structure.tables import EDITION_WORDS, harder_cell, table
from triage.structure.units import printed

TABLE = "irc_r507_5_beams"
_PLACE = "R507.5"
_SOURCE = "IRC Table R507.5"
_SINCE = 2015
"""IRC 2015 held the first table of deck beams, and ruled out beams hung on bolts at the side of a post."""


def beam_checks(facts: Facts) -> list[Check]:
    """Return the beam's checks: span and bearing; none for a deck without a beam."""
    return [] if facts.get("has_beam") is False else [beam_span(facts), beam_bearing(facts)]


def beam_span(facts: Facts) -> Check:
    """Return the beam span between posts against the span that the table allows, ft (R507.5)."""
    name, demand = "beam-span", facts.get("beam_span_ft")
    missing = facts.missing("beam_size", "joist_span_ft", "species")
    if facts.edition == "irc-2024":
        why = outside(_PLACE, "the beam table of IRC 2024 is not held here")
        return cannot_say(name, HAZARD, "ft", why, "IRC 2024 Table R507.5(1)", (), demand)
    if missing:
        missing += facts.missing("beam_span_ft")
        return cannot_say(name, HAZARD, "ft", needs(missing), _SOURCE, missing, demand)
    check = replace(_by_overhang(facts, demand), assumed=assumed_loads(facts))
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def _by_overhang(facts: Facts, demand: float | None) -> Check:
    """Return the check; where the overhang is not known, only what holds for every overhang is reported."""
    span_ft = facts.number("joist_span_ft")
    lacking = facts.missing("beam_span_ft")
    if facts.edition != "irc-2021":
        return _check(facts, demand, span_ft, f"joists of {span_ft:g} ft", lacking)
    overhang_ft = facts.get("joist_overhang_ft")
    if overhang_ft is not None:
        factor = joist_span_factor(overhang_ft / span_ft)
        if factor is None:
            words = f"joists of {span_ft:g} ft with an overhang of a quarter"
            beyond = "the joists overhang by more than a quarter of their span (R507.5(5))"
            return _check(facts, demand, span_ft, words, lacking, beyond)
        words = f"effective joist span {factor:g} x {span_ft:g} ft = {factor * span_ft:.2f} ft"
        return _check(facts, demand, factor * span_ft, words, lacking)
    most = _check(facts, demand, span_ft, f"joists of {span_ft:g} ft with the longest overhang", lacking)
    least = _check(facts, demand, 0.66 * span_ft, f"joists of {span_ft:g} ft without overhang", lacking)
    if most.verdict == WITHIN or least.verdict == OVER:
        return most if most.verdict == WITHIN else least
    missing = (*lacking, "joist_overhang_ft")
    why = f"it depends on the joists' overhang, which is not known; {most.why}"
    return replace(most, verdict=CANNOT_SAY, reason=MISSING, ratio=None, missing=missing, why=why)


def _check(
    facts: Facts,
    demand: float | None,
    effective_ft: float,
    words: str,
    lacking: tuple[str, ...],
    beyond: str = "",
) -> Check:
    """Return the check at an (effective) joist span; `beyond` says why even that is easier than the deck."""
    loads, columns = design_loads(facts), table(TABLE)["columns_joist_span_ft"]
    size, edition = str(facts.get("beam_size")), facts.edition
    sides = beam_bracket(size)
    beyond = beyond or table_loads(loads, edition)[1]
    if effective_ft > columns[-1] + 1e-9:
        beyond = beyond or f"a joist span of {effective_ft:.2f} ft is beyond the last column"
    easier = allowed_span_ft(
        facts, sides.easier, min(effective_ft, columns[-1]), easier_loads(loads, edition), words
    )
    harder = easier
    if beyond:
        harder = Answer(None, beyond, _SOURCE)
    elif sides.harder != sides.easier:
        beyond = f"{EDITION_WORDS[edition]} has no row for {size} {facts.species()}"
        harder = allowed_span_ft(facts, sides.harder, effective_ft, loads, words)
    return bracketed("beam-span", demand, harder, easier, beyond, _PLACE, lacking)


def joist_span_factor(ratio: float) -> float | None:
    """Return the factor on the joist span by overhang over back span (IRC 2021 Table R507.5(5)).

    The next larger ratio is read; null above a quarter.
    """
    factors = table(TABLE)["joist_span_factor"]
    cell = harder_cell(factors["ratio"], factors["factor"], ratio)
    return None if cell is None else float(cell.printed)


def allowed_span_ft(
    facts: Facts, size: str | None, effective_joist_span_ft: float, loads: Loads, words: str
) -> Answer:
    """Return the span of a beam of the table for an (effective) joist span; the harder row governs."""
    if size is None:
        return Answer(None, "the table holds no such beam", _SOURCE)
    wanted, _ = table_loads(loads, facts.edition)
    columns = table(TABLE)["columns_joist_span_ft"]
    best = shortest_span(TABLE, facts, size, wanted, columns, effective_joist_span_ft)
    if best is None or best.cell is None:
        why = f"{EDITION_WORDS[facts.edition]} has no row for {size} {facts.species()}"
        return Answer(None, why, _SOURCE)
    row_words = f"{best.cell.column} ft column, {best.load_psf} psf {best.load}"
    why = f"{words}; {size} {facts.species()}: {best.cell.printed} in the {row_words}; {loads.said}"
    return Answer(best.span_ft, why + _by_mechanics(facts, size, effective_joist_span_ft, loads), best.source)


def _by_mechanics(facts: Facts, size: str, effective_joist_span_ft: float, loads: Loads) -> str:
    """Return the span by bending and deflection in words; southern pine, whose printed rows it gives.

    IRC 2021's effective joist span is for joists that overhang by a quarter.
    """
    if facts.species() != "southern-pine" or facts.edition != "irc-2021":
        return ""
    plies, member = size.split("-")
    width_ft = beam_width_ft(effective_joist_span_ft, effective_joist_span_ft / 4)
    spans = [
        beam_span_ft("southern-pine", int(plies), member, width_ft, psf, loads.dead_psf, duration)
        for _, psf, duration in loads.cases()
        if psf > 0
    ]
    known = [span for span in spans if span is not None]
    return f"; by bending and L/360 (NDS 2018, No. 2, wet) {printed(min(known))}" if known else ""


def beam_bearing(facts: Facts) -> Check:
    """Return how the beam meets the post (R507.5.1, R507.5.2, R507.4.1): on it, not hung at its side."""
    source = "IRC R507.5.1 and R507.5.2; beams hung on bolts at the side of a post since IRC 2015"
    check = Check("beam-bearing", HAZARD, None, None, None, "", CANNOT_SAY, (), "", source, MISSING)
    bearing = facts.get("beam_bearing")
    if bearing is None:
        return replace(check, missing=("beam_bearing",), why=needs(("beam_bearing",)))
    if bearing == "side-bolted":
        why = (
            "the beam hangs on bolts at the side of the post: the bolts carry the whole load across the grain"
        )
        return dated(replace(check, verdict=OVER, reason=COMPARED, why=why), facts, _SINCE)
    where = "on the post" if bearing == "on-post" else "in a notch of the post"
    why = f"the beam bears {where}; at least 1-1/2 in on wood or metal is seen on site"
    return replace(check, verdict=WITHIN, reason=COMPARED, why=why)
