"""Stairs of a deck: IRC R311.7; how stringers are held, AWC DCA 6."""

from __future__ import annotations

from dataclasses import replace

from triage.structure.check import (
    CANNOT_SAY,
    COMPARED,
    DEPARTS,
    HAZARD,
    MISSING,
    OVER,
    WITHIN,
    Check,
    Facts,
    compare,
    dated,
    needs,
)
from triage.structure.limits import limit, limit_source


def stair_checks(facts: Facts) -> list[Check]:
    """Return the stairs' checks: rise, run, stringers; none for a deck without stairs."""
    if facts.get("has_stairs") is False:
        return []
    return [stair_rise(facts), stair_run(facts), stringer_attachment(facts)]


def stair_rise(facts: Facts) -> Check:
    """Return the rise against 7-3/4 in, or the spread against 3/8 in where worse (R311.7.5.1)."""
    rise, spread = facts.get("stair_rise_in"), facts.get("stair_rise_spread_in")
    missing = facts.missing("stair_rise_in")
    most = limit("stair_rise_in")
    why = "" if missing else f"rise of {rise:g} in, at most 7-3/4 in"
    if not missing and spread is None:
        why += "; how far the rises differ was not measured"
    check = compare("stair-rise", DEPARTS, rise, most, "in", why, limit_source("stair_rise_in"), missing)
    if spread is not None:
        words = (
            f"the rises of the flight differ by {spread:g} in, at most 3/8 in: an uneven step trips people"
        )
        uneven = compare(
            "stair-rise",
            HAZARD,
            spread,
            limit("stair_rise_spread_in"),
            "in",
            words,
            limit_source("stair_rise_spread_in"),
        )
        if uneven.verdict == OVER and (uneven.ratio or 0) > (check.ratio or 0):
            check = uneven
    return dated(check, facts, int(facts.edition[-4:]))


def stair_run(facts: Facts) -> Check:
    """Return the run needed against the run there is, in (R311.7.5.2)."""
    run, missing = facts.get("stair_run_in"), facts.missing("stair_run_in")
    why = "" if missing else f"run of {run:g} in, at least 10 in"
    check = compare(
        "stair-run", DEPARTS, limit("stair_run_in"), run, "in", why, limit_source("stair_run_in"), missing
    )
    return dated(check, facts, int(facts.edition[-4:]))


def stringer_attachment(facts: Facts) -> Check:
    """Return how the stringers hang on the deck: in hangers or on a ledger strip, not on nails (DCA 6)."""
    source = "AWC DCA 6-2015, stair stringer attachment; IRC R507.8 (no nails in withdrawal)"
    check = Check("stringer-attachment", HAZARD, None, None, None, "", CANNOT_SAY, (), "", source, MISSING)
    held = facts.get("stringer_attachment")
    if held is None:
        return replace(check, missing=("stringer_attachment",), why=needs(("stringer_attachment",)))
    if held == "nails":
        why = "the stringers hang on nails, which draw out of the rim under each step"
        return replace(check, verdict=OVER, reason=COMPARED, why=why)
    return replace(
        check,
        verdict=WITHIN,
        reason=COMPARED,
        why=f"the stringers are held by {'hangers' if held == 'hanger' else 'a ledger strip'}",
    )
