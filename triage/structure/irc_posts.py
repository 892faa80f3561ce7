"""Deck posts: IRC R507.4 and Table R507.4; AWC DCA 6; a column by mechanics where no printed row is held."""

from __future__ import annotations

from dataclasses import replace

from triage.structure.check import (
    CANNOT_SAY,
    HAZARD,
    MARGIN,
    WITHIN,
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
from triage.structure.loads import Loads, assumed_loads, design_loads, table_loads
from triage.structure.nds_members import POST_IN, post_height_in
from triage.structure.sizes import post_bracket
from triage.structure.tables import harder_cell, rows, source_of, table
from triage.structure.tributary import tributary_area
from triage.structure.units import feet, printed

TABLE = "irc_r507_4_posts"
_PLACE = "R507.4"
_SOURCE = "IRC Table R507.4"
_SINCE = 2015
COLUMN_MARGIN = 1.5
"""On the load, where no printed row is held: the published heights of 6x6 posts under an inner post's load
(AWC DCA 6, Table 4, read in a public copy) lie at about 1.4 times the load of the simple tributary area,
since a beam that runs over its posts brings more to the inner ones."""
_BY_COLUMN = "NDS 2018 3.7 with design values from memory; IRC Table R507.4 is laid out by it"


def post_height(facts: Facts) -> Check:
    """Return the post's height against the tallest that is allowed, ft (R507.4, Table R507.4).

    Where no printed row is held, a post over the height of a column design is over, and one is within only if
    the column holds with a margin on its load.
    """
    demand = facts.get("post_height_ft")
    missing = facts.missing("post_size")
    if missing:
        missing += facts.missing("post_height_ft")
        return cannot_say("post-height", HAZARD, "ft", needs(missing), _SOURCE, missing, demand)
    by_edition = {"irc-2018": _flat, "dca6-2015": _six_by_six}
    check = by_edition.get(facts.edition, _by_area)(facts, demand)
    check = replace(check, assumed=(*assumed_loads(facts), *facts.missing("tributary_area_sqft")))
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def _flat(facts: Facts, demand: float | None) -> Check:
    """Return the check by IRC 2018 Table R507.4: one height a size; 4x4 taller under two plies on a cap."""
    size = str(facts.get("post_size"))
    sides = post_bracket(size, [row["size"] for row in table(TABLE)["flat"]])
    _, beyond = table_loads(design_loads(facts), facts.edition)
    easier = _flat_answer(facts, sides.easier)
    harder = Answer(None, beyond, _SOURCE) if beyond else _flat_answer(facts, sides.harder)
    beyond = beyond or ("" if sides.harder == sides.easier else f"no row for a {size} post")
    return bracketed("post-height", demand, harder, easier, beyond, _PLACE, facts.missing("post_height_ft"))


def _flat_answer(facts: Facts, size: str | None) -> Answer:
    row = next((row for row in table(TABLE)["flat"] if row["size"] == size), None)
    if row is None:
        return Answer(None, "no row for a post of this size", _SOURCE)
    height, words = row["height"], f"{size} post"
    plies = int(str(facts.get("beam_size", "9-")).split("-")[0])
    if "height_under_one_or_two_plies_on_a_cap" in row and plies <= 2 and facts.get("post_cap") is True:
        height = row["height_under_one_or_two_plies_on_a_cap"]
        words += " under a beam of one or two plies on a post cap"
    return Answer(feet(height), f"{words}: {height}", source_of(TABLE, row, facts.edition))


def _six_by_six(facts: Facts, demand: float | None) -> Check:
    """Return the check by DCA 6: 6x6 or larger, at most 14 ft."""
    size, source = str(facts.get("post_size")), str(table(TABLE)["sources"]["dca6"])
    thin = min(int(part) for part in size.split("x"))
    if thin < 6:
        answer = Answer(0.0, f"a {size} post; DCA 6 asks for 6x6 or larger whatever the height", source)
    else:
        answer = Answer(14.0, f"{size} post, at most 14-0", source)
    _, beyond = table_loads(design_loads(facts), facts.edition)
    harder = Answer(None, beyond, source) if beyond else answer
    return bracketed("post-height", demand, harder, answer, beyond, _PLACE, facts.missing("post_height_ft"))


def _by_area(facts: Facts, demand: float | None) -> Check:
    """Return the check by IRC 2021 Table R507.4, or by NDS column design where no printed row is held."""
    species = facts.species("post_species")
    area, words, wanted = tributary_area(facts)
    if species is None:
        wanted = ("post_species", *wanted)
    if species is None or area is None:
        wanted += facts.missing("post_height_ft")
        return cannot_say("post-height", HAZARD, "ft", needs(wanted), _SOURCE, wanted, demand)
    size, columns = str(facts.get("post_size")), table(TABLE)["columns_tributary_area_sqft"]
    loads, lacking = design_loads(facts), facts.missing("post_height_ft")
    _, beyond = table_loads(loads, facts.edition)
    if area > columns[-1] + 1e-9:
        beyond = beyond or f"{area:.0f} sq ft on one post"
    sides = post_bracket(size, list(POST_IN))
    row = _printed(facts, species, sides.easier, min(area, columns[-1]))
    if row is not None and not beyond and sides.harder == sides.easier and loads.snow_psf <= 40:
        row = _with_words(row, words, loads)
        return bracketed("post-height", demand, row, row, "", _PLACE, lacking)
    beyond = beyond or f"no printed row for a {size} {species} post is held here"
    easier = _column(species, sides.easier, area, words, loads)
    if row is not None and row.capacity is not None and (easier.capacity or 0.0) > row.capacity:
        easier = _with_words(row, words, loads)
    harder = _column(species, sides.harder, area, words, loads, COLUMN_MARGIN)
    if lacking:
        return compare("post-height", HAZARD, None, easier.capacity, "ft", easier.why, easier.source, lacking)
    check = bracketed("post-height", demand, harder, easier, beyond, _PLACE)
    if check.verdict == WITHIN and easier.capacity is not None:
        return compare("post-height", HAZARD, demand, easier.capacity, "ft", harder.why, harder.source)
    between = check.verdict == CANNOT_SAY and not check.missing and harder.capacity is not None
    return replace(check, reason=MARGIN, capacity=easier.capacity) if between else check


def _with_words(row: Answer, words: str, loads: Loads) -> Answer:
    """Return a printed height with how the load came about in its words."""
    return replace(row, why=f"{row.why}; {words}; {loads.said}")


def _printed(facts: Facts, species: str, size: str | None, area: float) -> Answer | None:
    """Return the printed height at an area under 40 psf, the lightest load; null where no row is held."""
    columns = table(TABLE)["columns_tributary_area_sqft"]
    for row in rows(TABLE, facts.edition, species=species, size=size, load="live", load_psf=40):
        cell = harder_cell(columns, row["heights"], area)
        if cell is not None:
            why = f"{size} {species}: {cell.printed} at {cell.column} sq ft"
            return Answer(feet(cell.printed), why, source_of(TABLE, row, facts.edition))
    return None


def _column(
    species: str, size: str | None, area_sqft: float, words: str, loads: Loads, margin: float = 1.0
) -> Answer:
    """Return the height of a centered column (NDS 2018 3.7) under the harder of live and snow load.

    A size is never given more than a larger one: timbers have lower design values than lumber, and a larger
    post of the same wood carries no less than a smaller one.
    """
    if size is None:
        return Answer(None, "no design values for a post of this size", _SOURCE)
    held = [one for one in POST_IN if all(a >= b for a, b in zip(POST_IN[one], POST_IN[size], strict=True))]
    height_in = min(
        post_height_in(species, one, margin * (psf + loads.dead_psf) * area_sqft, duration)
        for _, psf, duration in loads.cases()
        for one in held
    )
    held_with = f" with a margin of {margin:g} on the load" if margin > 1 else ""
    why = (
        f"{size} {species}: {printed(height_in / 12)} by column design{held_with} (No. 2, wet service), as "
        f"the printed row is not held here; {words}; {loads.said}"
    )
    return Answer(height_in / 12, why, _BY_COLUMN)
