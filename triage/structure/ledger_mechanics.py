"""Ledger fasteners by mechanics: reaction of the joists against the dowel's adjusted design value.

NDS 2018 chapters 11 and 12. Shown next to the published table, which is based on tests and governs. The yield
equations assume that the members touch; sheathing keeps them apart, and the tests include that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from triage.structure import nds_dowel as nds
from triage.structure.check import (
    CANNOT_SAY,
    HAZARD,
    MARGIN,
    MISSING,
    NOT_COUNTED,
    OUTSIDE,
    OVER,
    POOR_SCREWS,
    TESTS_GOVERN,
    WITHIN,
    Check,
    Facts,
    cannot_say,
    compare,
    dated,
    limited,
    needs,
    outside,
    ratio_of,
)
from triage.structure.irc_ledger import effective_spacing_in
from triage.structure.loads import assumed_loads, design_loads
from triage.structure.sizes import dressed_in, parts

NAME = "ledger-fastener-mechanics"
SOURCE = "NDS 2018 12.3.1 (yield limit equations), Table 11.3.3, Table 2.3.2; AWC TR12 for the gap"
LUMBER_IN = 1.5
"""Thickness of a 2x ledger and a 2x band joist."""
WET_SERVICE_LATERAL = 0.7
"""NDS 2018 Table 11.3.3: dowel-type fasteners, lateral, moist in service."""
WET_SERVICE_NAIL_WITHDRAWAL = 0.25
"""NDS 2018 Table 11.3.3: nails in withdrawal where the wood is wet and dry by turns."""
BAND_SPECIES = "spruce-pine-fir"
"""IRC R507.9.1.2: a 2x band joist of spruce-pine-fir or better."""
NAILS_IN = {"16d-common": (0.162, 3.5), "16d-sinker": (0.148, 3.25), "16d-box": (0.135, 3.5)}
"""Diameter and length, NDS 2018 Table L4."""
_LOAD_ANGLE_DEG = 90.0
_TABLE_GOVERNS = (
    "the table rests on tests and governs: the tests were of whole joints with sheathing, the equations are "
    "for one fastener between touching members, with a wet service factor of 0.7"
)
_NAILS_NOT_COUNTED = "shear only, not counted (R507.8)"


@dataclass(frozen=True)
class Joint:
    """A ledger joint: dowel, bearing lengths in inches, gap, penetration and the least penetration needed."""

    dowel: nds.Dowel
    side: nds.Member
    main: nds.Member
    gap_in: float
    penetration_in: float
    needed_in: float
    angle_deg: float


def ledger_fastener_mechanics(facts: Facts, by_table: Check) -> Check:
    """Return load per fastener against adjusted design value, lb; `by_table` is the table's check."""
    fastener = facts.get("ledger_fastener")
    if fastener is None:
        missing = ("ledger_fastener",)
        return cannot_say(NAME, HAZARD, "lb", needs(missing), SOURCE, missing)
    if fastener in ("structural-screw", "other", *POOR_SCREWS):
        why = outside("NDS 12.3", "diameter and bending strength of the fastener are not known")
        return cannot_say(NAME, HAZARD, "lb", why, SOURCE)
    wanted = facts.missing("joist_span_ft", "ledger_fastener_spacing_in", "ledger_sheathing_in")
    wanted += () if facts.species("ledger_species") else ("ledger_species",)
    if fastener == "nail":
        return _nails(facts, wanted + facts.missing("ledger_nail"))
    if wanted:
        return cannot_say(NAME, HAZARD, "lb", needs(wanted), SOURCE, wanted)
    joint = bolt_or_lag_joint(facts)
    demand, capacity, why = _worst_case(facts, joint)
    check = compare(NAME, HAZARD, demand, capacity, "lb", why, SOURCE)
    check = _in_a_band(_beside_the_table(check, by_table, joint), facts)
    assumed = (
        *assumed_loads(facts),
        *facts.missing("band_species", "ledger_size", "ledger_stacked_washers_in"),
    )
    return dated(limited(replace(check, assumed=assumed), facts, "NDS 12.3"), facts, 2009)


def _in_a_band(check: Check, facts: Facts) -> Check:
    """Return the check with nothing within that rests on a band joist or a ledger that is not there."""
    if check.verdict != WITHIN:
        return check
    on, size = facts.get("ledger_on"), facts.get("ledger_size")
    if on is None:
        why = f"{check.why}; not known: ledger_on; the equations are for a band joist"
        return replace(check, verdict=CANNOT_SAY, reason=MISSING, missing=("ledger_on",), why=why)
    if on not in ("band-joist", "engineered-rim"):
        why = f"{check.why}; the equations are for a 2x band joist, not for {on.replace('-', ' ')}"
        return replace(check, verdict=CANNOT_SAY, reason=OUTSIDE, why=why)
    if size is not None and (parts(size)[0] < 2 or parts(size)[1] < 8):
        why = f"{check.why}; the ledger is {size}, 2x8 or deeper is asked for (R507.9.1.1)"
        return replace(check, verdict=CANNOT_SAY, reason=OUTSIDE, why=why)
    return check


def _beside_the_table(check: Check, by_table: Check, joint: Joint) -> Check:
    """Return the check as it may appear next to the table: never over where the table is within.

    Where the table does not hold the ledger, nothing is within that rests on direct contact or on a
    penetration which is not there.
    """
    if by_table.verdict == WITHIN:
        if check.verdict == OVER:
            why = f"{check.why}; {_TABLE_GOVERNS}"
            return replace(check, verdict=CANNOT_SAY, reason=TESTS_GOVERN, why=why)
        return check
    doubts = []
    if joint.penetration_in < joint.needed_in - 1e-9:
        doubts.append(
            f"the screw bears on {joint.penetration_in:g} in of wood and the equations ask for "
            f"{joint.needed_in:g} in (NDS 12.1.4.6); only the tests behind the table allow less"
        )
    if joint.gap_in > 0 and (check.ratio or 0.0) * _contact_over_gap(joint) > 1:
        doubts.append("with the gap the fastener bends more and carries less than it is asked to")
    if check.verdict == WITHIN and doubts:
        why = f"{check.why}; {'; '.join(doubts)}"
        return replace(check, verdict=CANNOT_SAY, reason=MARGIN, why=why)
    return check


def _contact_over_gap(joint: Joint) -> float:
    """Return the design value in direct contact over that with the gap (AWC TR12)."""
    arguments = joint.main, joint.side, joint.dowel, joint.angle_deg
    return nds.reference_value_lb(*arguments)[0] / nds.reference_value_lb(*arguments, joint.gap_in)[0]


def bolt_or_lag_joint(facts: Facts) -> Joint:
    """Return the joint of a 1/2 in bolt or lag screw through ledger and sheathing into a 2x band joist.

    Load across the grain of both members. A lag screw whose tip passes the band bears on the whole band.
    """
    lag = facts.get("ledger_fastener") == "half-inch-lag"
    dowel = nds.lag_screw(0.5) if lag else nds.bolt(0.5)
    gap_in = facts.number("ledger_sheathing_in") + float(facts.get("ledger_stacked_washers_in", 0.0))
    needed_in = 4 * 0.5 if lag else LUMBER_IN
    return _joint(facts, dowel, gap_in, LUMBER_IN, LUMBER_IN, needed_in)


def nail_joint(facts: Facts) -> Joint:
    """Return the joint of a nail through ledger and sheathing into the band joist (NDS 2018 12.1.6, 12.3.5).

    The bearing length in the band is the penetration less half of the point, p - D, at most the band.
    """
    diameter_in, length_in = NAILS_IN[str(facts.get("ledger_nail"))]
    gap_in = facts.number("ledger_sheathing_in") + float(facts.get("ledger_stacked_washers_in", 0.0))
    past_ledger_in = max(0.0, length_in - LUMBER_IN - gap_in)
    penetration_in = min(past_ledger_in, LUMBER_IN)
    bearing_in = max(0.0, min(past_ledger_in - diameter_in, LUMBER_IN))
    return _joint(facts, nds.nail(diameter_in), gap_in, bearing_in, penetration_in, 6 * diameter_in)


def _joint(
    facts: Facts, dowel: nds.Dowel, gap_in: float, bearing_in: float, penetration_in: float, needed_in: float
) -> Joint:
    ledger = str(facts.species("ledger_species"))
    band = str(facts.get("band_species", BAND_SPECIES))
    angle = _LOAD_ANGLE_DEG
    side_psf = nds.bearing_strength_psi(nds.SPECIFIC_GRAVITY[ledger], dowel.nominal_in, angle)
    main_psf = nds.bearing_strength_psi(nds.SPECIFIC_GRAVITY[band], dowel.nominal_in, angle)
    size = facts.get("ledger_size")
    ledger_in = min(LUMBER_IN, dressed_in(parts(size)[0])) if size is not None else LUMBER_IN
    side, main = nds.Member(side_psf, ledger_in), nds.Member(main_psf, bearing_in)
    return Joint(dowel, side, main, gap_in, penetration_in, needed_in, angle)


def _worst_case(facts: Facts, joint: Joint) -> tuple[float, float, str]:
    """Return (load per fastener, adjusted design value, words) of the load case with the largest ratio."""
    loads = design_loads(facts)
    wet = facts.get("exposure", "wet") != "dry"
    z_lb, mode = 0.0, "Im"
    if joint.main.length_in > 0:
        z_lb, mode = nds.reference_value_lb(joint.main, joint.side, joint.dowel, joint.angle_deg)
    spacing_in = effective_spacing_in(facts) or 0.0
    worst = (0.0, 1.0, "")
    for case, psf, duration in loads.cases():
        per_foot = (psf + loads.dead_psf) * facts.number("joist_span_ft") / 2
        demand = per_foot * spacing_in / 12
        capacity = z_lb * duration * (WET_SERVICE_LATERAL if wet else 1.0)
        words = (
            f"{per_foot:.0f} lb/ft from the joists ({case}), {demand:.0f} lb on a fastener; Z {z_lb:.0f} lb "
            f"(mode {mode}), load duration {duration:g}, {'wet service 0.7' if wet else 'dry service'}; "
            f"{loads.said}"
        )
        if joint.gap_in and z_lb:
            apart_lb = z_lb / _contact_over_gap(joint)
            words += (
                f"; the equations assume that ledger and band touch, {joint.gap_in:g} in keep them apart: "
                f"Z {apart_lb:.0f} lb if that were empty space (AWC TR12)"
            )
        if not worst[2] or demand * worst[1] > worst[0] * capacity:
            worst = demand, capacity, words
    return worst[0], worst[1], worst[2] + _assumed(facts)


def _assumed(facts: Facts) -> str:
    """Return in words what was assumed where the band joist or the exposure is not known."""
    said = ""
    if facts.get("band_species") is None:
        said += f"; band joist assumed to be {BAND_SPECIES}"
    if facts.get("exposure") is None:
        said += "; exposure assumed wet"
    return said


def _nails(facts: Facts, wanted: tuple[str, ...]) -> Check:
    """Return the check of a nailed ledger: its numbers in shear, and over whatever they are (R507.8)."""
    tail = (
        "nails may not hold a deck on the house: withdrawal may not be counted, since wood that is wet and "
        "dry by turns keeps a quarter of it"
    )
    source = f"IRC R507.8; {SOURCE}"
    if wanted:
        why = f"{_NAILS_NOT_COUNTED}; {tail}; {needs(wanted)} for the numbers"
        return Check(NAME, HAZARD, None, None, None, "lb", OVER, wanted, why, source, NOT_COUNTED)
    joint = nail_joint(facts)
    demand, capacity, words = _worst_case(facts, joint)
    band = nds.SPECIFIC_GRAVITY[str(facts.get("band_species", BAND_SPECIES))]
    dry = nds.nail_withdrawal_lb_per_in(band, joint.dowel.nominal_in) * joint.penetration_in
    tail += f" ({dry:.0f} lb dry, {dry * WET_SERVICE_NAIL_WITHDRAWAL:.0f} lb left)"
    if joint.penetration_in < joint.needed_in - 1e-9:
        reach, needed = joint.penetration_in, joint.needed_in
        tail += f"; the nail reaches {reach:.2f} in into the band, {needed:.2f} in are needed"
    ratio = ratio_of(demand, capacity)
    why = f"{_NAILS_NOT_COUNTED}: {words}; {tail}"
    return Check(NAME, HAZARD, demand, capacity, ratio, "lb", OVER, (), why, source, NOT_COUNTED)
