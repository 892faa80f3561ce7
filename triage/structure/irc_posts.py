"""Deck posts: IRC R507.4 and Table R507.4; AWC DCA 6; a column by mechanics where no printed row is held."""

from __future__ import annotations

from triage.structure.check import HAZARD, Check, Facts, cannot_say, compare, dated, limited, needs, outside
from triage.structure.loads import design_loads, table_loads
from triage.structure.nds_members import POST_IN, post_height_in
from triage.structure.tables import harder_cell, rows, source_of, table
from triage.structure.tributary import tributary_area
from triage.structure.units import feet, printed

TABLE = "irc_r507_4_posts"
_PLACE = "R507.4"
_SOURCE = "IRC Table R507.4"
_SINCE = 2015
Answer = tuple[float | None, str, str, tuple[str, ...]]


def post_height(facts: Facts) -> Check:
    """Return the post's height against the tallest that is allowed, ft (R507.4, Table R507.4)."""
    demand = facts.get("post_height_ft")
    missing = facts.missing("post_size")
    if missing:
        missing += facts.missing("post_height_ft")
        return cannot_say("post-height", HAZARD, "ft", needs(missing), _SOURCE, missing, demand)
    capacity, why, source, wanted = _allowed(facts)
    wanted += facts.missing("post_height_ft")
    if capacity is None:
        why = needs(wanted) if wanted else why
        return cannot_say("post-height", HAZARD, "ft", why, source, wanted, demand)
    check = compare("post-height", HAZARD, demand, capacity, "ft", why, source, wanted)
    return dated(limited(check, facts, _PLACE), facts, _SINCE)


def _allowed(facts: Facts) -> Answer:
    """Return (height in ft or null, reason, source, missing facts)."""
    size, edition = str(facts.get("post_size")), facts.edition
    _, reason = table_loads(design_loads(facts), edition)
    if reason:
        return None, outside(_PLACE, reason), _SOURCE, ()
    if edition == "irc-2018":
        return _flat(facts, size)
    if edition == "dca6-2015":
        return _six_by_six(size)
    return _by_area(facts, size)


def _flat(facts: Facts, size: str) -> Answer:
    """Return the height by IRC 2018 Table R507.4: one for each size; 4x4 taller under two plies on a cap."""
    row = next((row for row in table(TABLE)["flat"] if row["size"] == size), None)
    if row is None:
        return None, outside(_PLACE, f"no row for a {size} post"), _SOURCE, ()
    height, words = row["height"], f"{size} post"
    plies = int(str(facts.get("beam_size", "9-")).split("-")[0])
    if "height_under_one_or_two_plies_on_a_cap" in row and plies <= 2 and facts.get("post_cap") is True:
        height = row["height_under_one_or_two_plies_on_a_cap"]
        words += " under a beam of one or two plies on a post cap"
    return feet(height), f"{words}: {height}", source_of(TABLE, row, facts.edition), ()


def _six_by_six(size: str) -> Answer:
    source = str(table(TABLE)["sources"]["dca6"])
    thin = min(int(part) for part in size.split("x"))
    if thin < 6:
        return 0.0, f"a {size} post; DCA 6 asks for 6x6 or larger whatever the height", source, ()
    return 14.0, f"{size} post, at most 14-0", source, ()


def _by_area(facts: Facts, size: str) -> Answer:
    """Return the height by IRC 2021 Table R507.4, or by NDS column design where no printed row is held."""
    species = facts.species("post_species")
    area, words, wanted = tributary_area(facts)
    if species is None:
        wanted = ("post_species", *wanted)
    if species is None or area is None:
        return None, needs(wanted), _SOURCE, wanted
    columns = table(TABLE)["columns_tributary_area_sqft"]
    if size not in POST_IN or area > columns[-1]:
        reason = f"no row for a {size} post" if size not in POST_IN else f"{area:.0f} sq ft on one post"
        return None, outside(_PLACE, reason), _SOURCE, ()
    loads = design_loads(facts)
    snow = loads.snow_psf > 40
    found = [] if snow else rows(TABLE, facts.edition, species=species, size=size, load="live", load_psf=40)
    for row in found:
        cell = harder_cell(columns, row["heights"], area)
        if cell is not None:
            why = f"{size} {species}: {cell.printed} at {cell.column} sq ft; {words}; {loads.said}"
            return feet(cell.printed), why, source_of(TABLE, row, facts.edition), ()
    return _column(species, size, area, words, facts)


def _column(species: str, size: str, area_sqft: float, words: str, facts: Facts) -> Answer:
    """Return the height of a centred column (NDS 2018 3.7) under the harder of live and snow load."""
    loads = design_loads(facts)
    height_in = min(
        post_height_in(species, size, (psf + loads.dead_psf) * area_sqft, duration)
        for _, psf, duration in loads.cases()
    )
    why = (
        f"{size} {species}: {printed(height_in / 12)} by column design (No. 2, wet service), as the printed "
        f"row is not held here; {words}; {loads.said}"
    )
    return (
        height_in / 12,
        why,
        "NDS 2018 3.7 with design values from memory; IRC Table R507.4 is laid out by it",
        (),
    )
