"""Dowel-type fasteners in single shear: NDS 2018 chapter 12.

The yield modes are written with the general dowel equations of AWC Technical Report 12 (Table 1-1), which
allow a gap between the members; without a gap they are the same as NDS 2018 Table 12.3.1A.
Lengths in inches, stresses in psi, forces in pounds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

SPECIFIC_GRAVITY: dict[str, float] = {
    "southern-pine": 0.55,
    "douglas-fir-larch": 0.50,
    "hem-fir": 0.43,
    "spruce-pine-fir": 0.42,
    "redwood": 0.37,
    "western-cedar": 0.36,
}
"""NDS 2018 Table 12.3.3A (redwood open grain 0.37 from memory)."""

_NAIL_BENDING_KSI = ((0.142, 100.0), (0.177, 90.0), (0.236, 80.0), (0.273, 70.0), (0.344, 60.0))
LAG_ROOT_DIAMETER_IN: dict[float, float] = {
    0.25: 0.173,
    0.3125: 0.227,
    0.375: 0.265,
    0.4375: 0.328,
    0.5: 0.371,
    0.625: 0.471,
    0.75: 0.579,
    0.875: 0.683,
    1.0: 0.780,
}
"""NDS 2018 Table L2, by nominal diameter."""
_LAG_BENDING_KSI = {0.25: 70.0, 0.3125: 60.0}
BOLT_BENDING_PSI = 45_000.0
"""Bolts, and lag screws of 3/8 in and more: NDS 2018 Tables 12A and 12J, footnotes."""


@dataclass(frozen=True)
class Member:
    """A member of the joint: dowel bearing strength in psi and dowel bearing length in inches."""

    bearing_psi: float
    length_in: float


@dataclass(frozen=True)
class Dowel:
    """A fastener: nominal diameter, diameter in the yield equations, bending yield strength in psi."""

    nominal_in: float
    yield_in: float
    bending_psi: float


def bolt(diameter_in: float) -> Dowel:
    """Return a full-body bolt (NDS 2018 12.3.7.1; F_yb 45 ksi)."""
    return Dowel(diameter_in, diameter_in, BOLT_BENDING_PSI)


def lag_screw(diameter_in: float) -> Dowel:
    """Return a lag screw with threads at the shear plane: root diameter (NDS 2018 12.3.7.2, Table L2).

    Raises KeyError for a diameter that Table L2 does not hold.
    """
    bending_psi = _LAG_BENDING_KSI.get(diameter_in, 45.0) * 1000
    return Dowel(diameter_in, LAG_ROOT_DIAMETER_IN[diameter_in], bending_psi)


def nail(diameter_in: float) -> Dowel:
    """Return a nail with its bending yield strength by diameter (NDS 2018 Table I1)."""
    ksi = next((strength for limit, strength in _NAIL_BENDING_KSI if diameter_in <= limit), 45.0)
    return Dowel(diameter_in, diameter_in, ksi * 1000)


def bearing_strength_psi(gravity: float, nominal_in: float, angle_deg: float = 0.0) -> float:
    """Return the dowel bearing strength of wood at an angle to grain (NDS 2018 Table 12.3.3, 12.3.4).

    `gravity` is the specific gravity G. Parallel and perpendicular values are rounded to 50 psi as in the
    table, then joined by Hankinson's formula (Eq. 12.3-11).
    """
    if nominal_in < 0.25:
        return round50(16_600 * gravity**1.84)
    parallel = round50(11_200 * gravity)
    perpendicular = round50(6_100 * gravity**1.45 / math.sqrt(nominal_in))
    if angle_deg == 0:
        return parallel
    if angle_deg == 90:
        return perpendicular
    sine = math.sin(math.radians(angle_deg)) ** 2
    return parallel * perpendicular / (parallel * sine + perpendicular * (1 - sine))


def round50(psi: float) -> float:
    """Return a bearing strength rounded to 50 psi (NDS 2018 Table 12.3.3, footnote)."""
    return 50.0 * math.floor(psi / 50 + 0.5)


def reduction_terms(dowel: Dowel, angle_deg: float) -> dict[str, float]:
    """Return the reduction term R_d of every yield mode (NDS 2018 Table 12.3.1B).

    `angle_deg` is the largest angle of load to grain in any member. For a nominal diameter of 1/4 in or
    more whose root is thinner than 1/4 in, R_d is K_D K_theta (footnote 1).
    """
    k_theta = 1 + 0.25 * angle_deg / 90
    if dowel.yield_in < 0.25:
        k_d = 2.2 if dowel.yield_in <= 0.17 else 10 * dowel.yield_in + 0.5
        if dowel.nominal_in >= 0.25:
            k_d *= k_theta
        return dict.fromkeys(("Im", "Is", "II", "IIIm", "IIIs", "IV"), k_d)
    one, two, three = 4 * k_theta, 3.6 * k_theta, 3.2 * k_theta
    return {"Im": one, "Is": one, "II": two, "IIIm": three, "IIIs": three, "IV": three}


def yield_loads_lb(main: Member, side: Member, dowel: Dowel, gap_in: float = 0.0) -> dict[str, float]:
    """Return the yield load P of every mode in single shear, before reduction (AWC TR12 Table 1-1).

    `gap_in` is the space between the members at the shear plane; with 0 the values are those of NDS 2018
    Table 12.3.1A (Eq. 12.3-1 to 12.3-6) times R_d.
    """
    q_m, q_s = main.bearing_psi * dowel.yield_in, side.bearing_psi * dowel.yield_in
    l_m, l_s = main.length_in, side.length_in
    moment = dowel.bending_psi * dowel.yield_in**3 / 6
    bear_m, bear_s = q_m * l_m**2 / 4, q_s * l_s**2 / 4
    return {
        "Im": q_m * l_m,
        "Is": q_s * l_s,
        "II": _root(1 / (4 * q_s) + 1 / (4 * q_m), l_s / 2 + gap_in + l_m / 2, bear_s + bear_m),
        "IIIm": _root(1 / (2 * q_s) + 1 / (4 * q_m), gap_in + l_m / 2, moment + bear_m),
        "IIIs": _root(1 / (4 * q_s) + 1 / (2 * q_m), l_s / 2 + gap_in, bear_s + moment),
        "IV": _root(1 / (2 * q_s) + 1 / (2 * q_m), gap_in, 2 * moment),
    }


def _root(a: float, b: float, c: float) -> float:
    """Return the positive root of a P^2 + b P - c = 0."""
    return (-b + math.sqrt(b * b + 4 * a * c)) / (2 * a)


def reference_value_lb(
    main: Member, side: Member, dowel: Dowel, angle_deg: float = 0.0, gap_in: float = 0.0
) -> tuple[float, str]:
    """Return the reference lateral design value Z in pounds and its yield mode (NDS 2018 12.3.1).

    Z is the least yield load over its reduction term; `angle_deg` is the largest angle of load to grain.
    """
    terms = reduction_terms(dowel, angle_deg)
    loads = yield_loads_lb(main, side, dowel, gap_in)
    mode = min(loads, key=lambda name: loads[name] / terms[name])
    return loads[mode] / terms[mode], mode


def nail_withdrawal_lb_per_in(gravity: float, diameter_in: float) -> float:
    """Return the reference withdrawal value of a smooth nail per inch in wood (NDS 2018 Eq. 12.2-3)."""
    return float(1380 * gravity**2.5 * diameter_in)
