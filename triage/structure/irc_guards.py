"""Guards: IRC R312.1."""

from __future__ import annotations

from dataclasses import replace

from triage.structure.check import (
    CANNOT_SAY,
    COMPARED,
    DEPARTS,
    HAZARD,
    MISSING,
    NO_PART,
    NOT_NEEDED,
    OVER,
    WITHIN,
    Check,
    Facts,
    compare,
    dated,
    needs,
)
from triage.structure.limits import limit, limit_source


def guard_checks(facts: Facts) -> list[Check]:
    """Return the guard's checks: height, openings, posts."""
    return [guard_height(facts), guard_opening(facts), guard_post(facts)]


def _guard_needed(facts: Facts) -> bool:
    """Return whether a guard is needed, over 30 in above grade (R312.1.1); an unknown height is over it."""
    height_ft = facts.get("height_above_grade_ft")
    return height_ft is None or bool(height_ft * 12 > limit("guard_needed_above_in") + 1e-9)


def _not_needed(name: str, facts: Facts, unit: str) -> Check | None:
    """Return the check of a deck too low to need a guard, or null."""
    if _guard_needed(facts):
        return None
    height_in = facts.number("height_above_grade_ft") * 12
    why = f"no guard is needed: {height_in:g} in above grade, not more than 30 in"
    source = limit_source("guard_needed_above_in")
    return Check(name, DEPARTS, None, None, None, unit, WITHIN, (), why, source, NOT_NEEDED)


def guard_height(facts: Facts) -> Check:
    """Return height needed against height there is, in; the worse of deck and stair guard (R312.1.2)."""
    low = _not_needed("guard-height", facts, "in")
    if low is not None:
        return low
    source = limit_source("guard_height_in")
    if facts.get("has_guard") is False:
        why = "there is no guard"
        if facts.get("height_above_grade_ft") is None:
            why += "; the height above grade is not known and is taken as over 30 in"
        return compare("guard-height", HAZARD, limit("guard_height_in"), 0.0, "in", why, source)
    parts = [("guard_height_in", "guard_height_in", "guard")]
    if facts.get("has_stairs") is True or facts.get("stair_guard_height_in") is not None:
        parts.append(("stair_guard_height_in", "stair_guard_height_in", "stair guard"))
    checks = [_part("guard-height", facts, *part, least=True) for part in parts]
    return _worst(checks, facts)


def guard_opening(facts: Facts) -> Check:
    """Return the opening against what is allowed, in; the worse of deck and stair guard (R312.1.3)."""
    low = _not_needed("guard-opening", facts, "in")
    if low is not None:
        return low
    if facts.get("has_guard") is False:
        why = "there is no guard whose openings could be measured (see guard-height)"
        source = limit_source("guard_gap_in")
        return Check("guard-opening", DEPARTS, None, None, None, "in", CANNOT_SAY, (), why, source, NO_PART)
    parts = [("guard_gap_in", "guard_gap_in", "guard")]
    if facts.get("has_stairs") is True or facts.get("stair_guard_gap_in") is not None:
        parts.append(("stair_guard_gap_in", "stair_guard_gap_in", "stair guard"))
    return _worst([_part("guard-opening", facts, *part, least=False) for part in parts], facts)


def _part(name: str, facts: Facts, key: str, limit_name: str, words: str, *, least: bool) -> Check:
    there, bound = facts.get(key), limit(limit_name)
    demand, capacity = (bound, there) if least else (there, bound)
    side = "at least" if least else "at most"
    missing = facts.missing(key)
    why = "" if missing else f"{words}: {there:g} in, {side} {bound:g} in"
    return compare(name, DEPARTS, demand, capacity, "in", why, limit_source(limit_name), missing)


def _worst(checks: list[Check], facts: Facts) -> Check:
    """Return what governs: the worst that is over, else what cannot be said, else the largest ratio."""
    over = [check for check in checks if check.verdict == OVER]
    unsaid = [check for check in checks if check.verdict == CANNOT_SAY]
    if over:
        return dated(max(over, key=lambda check: check.ratio or float("inf")), facts, _edition_year(facts))
    if unsaid:
        missing = tuple(key for check in unsaid for key in check.missing)
        return replace(unsaid[0], missing=missing, why=needs(missing))
    return max(checks, key=lambda check: check.ratio or 0.0)


def _edition_year(facts: Facts) -> int:
    return int(facts.edition[-4:])


def guard_post(facts: Facts) -> Check:
    """Return whether the guard posts are firm and whole: 200 lb at the top in any direction (R301.5)."""
    low = _not_needed("guard-post", facts, "")
    if low is not None and facts.get("guard_post_firm") is not False:
        return low
    source = "IRC Table R301.5 (200 lb at the top in any direction); IRC 2024: 4x4 guard posts not notched"
    check = Check("guard-post", HAZARD, None, None, None, "", CANNOT_SAY, (), "", source, MISSING)
    if facts.get("guard_post_firm") is False:
        why = "a guard post gives way when pushed by hand: people lean on it"
        return replace(check, verdict=OVER, reason=COMPARED, why=why)
    if facts.get("has_guard") is False:
        return replace(check, why="there is no guard (see guard-height)", reason=NO_PART)
    if facts.get("guard_post_notched") is True:
        why = (
            "the guard posts are notched at the deck; notched 4x4 posts with 1/2 in lag screws failed at "
            "178 lb on average in university tests, with a target of 500 lb"
        )
        return dated(
            replace(check, kind=DEPARTS, verdict=OVER, reason=COMPARED, why=why), facts, _edition_year(facts)
        )
    missing = facts.missing("guard_post_firm", "guard_post_notched")
    if missing:
        return replace(check, missing=missing, why=needs(missing))
    why = "firm by hand and not notched; a push by hand is not a 200 lb test"
    return replace(check, verdict=WITHIN, reason=COMPARED, why=why)
