"""Bending members and columns by mechanics: NDS 2018 chapters 3 and 4, design values of its Supplement.

Inches, psi, pounds. Design values are No. 2 grade, from memory of the NDS Supplement 2018; those of southern
pine and hem-fir are confirmed by the printed joist spans, which they give to the inch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

REPETITIVE = 1.15
"""Repetitive member factor C_r, NDS 2018 4.3.9."""
WET_E = 0.9
WET_FC = 0.8
WET_FB = 0.85
"""Wet service factors, NDS Supplement 2018 Table 4A: E 0.9; F_c 0.8; F_b 0.85, but 1.0 up to 1150 psi."""
INCISED_STRENGTH, INCISED_E = 0.80, 0.95
"""Incising factors, NDS 2018 Table 4.3.8."""
DEFLECTION = 360
LONGEST_JOIST_FT = 18.0
"""The printed joist table ends at 18 ft."""
DEPTH_IN = {"2x6": 5.5, "2x8": 7.25, "2x10": 9.25, "2x12": 11.25}
_SIZE_FACTOR = {"2x6": 1.3, "2x8": 1.2, "2x10": 1.1, "2x12": 1.0}
_SOUTHERN_PINE_FB = {"2x6": 1000.0, "2x8": 925.0, "2x10": 800.0, "2x12": 750.0}
_FB_E = {"hem-fir": (850.0, 1.3e6), "spruce-pine-fir": (875.0, 1.4e6), "douglas-fir-larch": (900.0, 1.6e6)}
_INCISED = frozenset(_FB_E)


@dataclass(frozen=True)
class Bending:
    """Adjusted bending strength (before load duration and repetitive use) and stiffness, psi."""

    fb_psi: float
    e_psi: float


def bending_values(species: str, size: str) -> Bending | None:
    """Return wet-service values of No. 2 lumber, incised where the species is; null where none are held."""
    if size not in DEPTH_IN:
        return None
    if species == "southern-pine":
        return Bending(_wet(_SOUTHERN_PINE_FB[size]), 1.4e6 * WET_E)
    if species not in _FB_E:
        return None
    fb_psi, e_psi = _FB_E[species]
    return Bending(_wet(fb_psi * _SIZE_FACTOR[size]) * INCISED_STRENGTH, e_psi * WET_E * INCISED_E)


def _wet(fb_psi: float) -> float:
    return fb_psi * (WET_FB if fb_psi > 1150 else 1.0)


def joist_span_ft(
    species: str, size: str, spacing_in: float, load_psf: float, dead_psf: float, duration: float
) -> float | None:
    """Return the simple span of a joist by bending and by L/360 under the variable load, at most 18 ft.

    NDS 2018 3.3, 3.5; repetitive use. Null for a species or size of which no design values are held.
    """
    values = bending_values(species, size)
    if values is None:
        return None
    return min(
        LONGEST_JOIST_FT,
        _span_ft(
            values,
            1.5,
            DEPTH_IN[size],
            REPETITIVE * duration,
            (load_psf + dead_psf) * spacing_in / 12,
            load_psf * spacing_in / 12,
        ),
    )


_CEDAR_E_PSI = 1.0e6
"""No. 2 western cedars, NDS Supplement 2018 Table 4A (from memory); redwood is taken as western cedar."""
OVERHANG_LOAD_LB, OVERHANG_DEFLECTION = 220.0, 180
"""IRC 2021 Table R507.6, footnote on cantilevers (from memory): 220 lb at the end, L/180."""


def overhang_ft(species: str, size: str, back_span_ft: float) -> float:
    """Return how far a joist of a held size may overhang a support, by L/180 under 220 lb at its end.

    The end of a beam with one overhang a on a back span L deflects by P a^2 (L + a) / (3 E I); equal to a/180
    this gives a (L + a) = 3 E I / (180 P).
    """
    values = bending_values(species, size)
    e_psi = _CEDAR_E_PSI * WET_E if values is None else values.e_psi
    inertia = 1.5 * DEPTH_IN[size] ** 3 / 12
    wanted = 3 * e_psi * inertia / (OVERHANG_DEFLECTION * OVERHANG_LOAD_LB)
    span_in = back_span_ft * 12
    return (math.sqrt(span_in**2 + 4 * wanted) - span_in) / 2 / 12


def beam_span_ft(
    species: str, plies: int, size: str, width_ft: float, load_psf: float, dead_psf: float, duration: float
) -> float | None:
    """Return the simple span of a built-up beam that carries `width_ft` of deck (NDS 2018 3.3, 3.5).

    Repetitive use counts in full for three plies and more, with 1.10 for two, as the printed table does
    (found by re-deriving its southern pine rows, which come out within an inch; short beams of other species
    are held shorter in print than bending and deflection do).
    """
    values = bending_values(species, size)
    if values is None:
        return None
    sharing = {1: 1.0, 2: 1.10}.get(plies, REPETITIVE)
    total, variable = (load_psf + dead_psf) * width_ft, load_psf * width_ft
    return _span_ft(values, 1.5 * plies, DEPTH_IN[size], sharing * duration, total, variable)


def beam_width_ft(joist_span_ft: float, overhang_ft: float) -> float:
    """Return the width of deck that joists bring to a beam: (span + overhang)^2 / (2 span), by statics."""
    return (joist_span_ft + overhang_ft) ** 2 / (2 * joist_span_ft)


def _span_ft(
    values: Bending, width_in: float, depth_in: float, factor: float, total_plf: float, variable_plf: float
) -> float:
    """Return the lesser of the spans by bending under all load and by deflection under the variable load."""
    section, inertia = width_in * depth_in**2 / 6, width_in * depth_in**3 / 12
    bending_in = math.sqrt(8 * values.fb_psi * factor * section / (total_plf / 12))
    if variable_plf <= 0:
        return bending_in / 12
    stiff_in = (384 * values.e_psi * inertia / (5 * DEFLECTION * variable_plf / 12)) ** (1 / 3)
    return float(min(bending_in, stiff_in)) / 12


@dataclass(frozen=True)
class Compression:
    """Compression parallel to grain and minimum stiffness, wet service, incised where the species is, psi."""

    fc_psi: float
    emin_psi: float


_LUMBER_COLUMNS = {
    "southern-pine": (1450.0, 1400.0, 510e3),
    "douglas-fir-larch": (1350.0 * 1.15, 1350.0 * 1.1, 580e3),
    "hem-fir": (1300.0 * 1.15, 1300.0 * 1.1, 470e3),
    "spruce-pine-fir": (1150.0 * 1.15, 1150.0 * 1.1, 510e3),
    "western-cedar": (650.0 * 1.15, 650.0 * 1.1, 370e3),
    "redwood": (650.0 * 1.15, 650.0 * 1.1, 370e3),
}
"""No. 2 dimension lumber, 4 in and 6 in wide; redwood is taken as western cedar, which is lower."""
_TIMBER_COLUMNS = {
    "southern-pine": (525.0, 440e3),
    "douglas-fir-larch": (700.0 * 0.91, 470e3),
    "hem-fir": (575.0 * 0.91, 400e3),
    "spruce-pine-fir": (500.0 * 0.91, 370e3),
    "western-cedar": (475.0 * 0.91, 290e3),
    "redwood": (475.0 * 0.91, 290e3),
}
"""No. 2 posts and timbers (5x5 and larger); wet service 0.91 on F_c, southern pine is tabulated wet."""
POST_IN = {"4x4": (3.5, 3.5), "4x6": (3.5, 5.5), "6x6": (5.5, 5.5), "8x8": (7.5, 7.5)}
_SAWN_C = 0.8
LONGEST_POST_IN = 168
_SLENDEREST = 50


def compression_values(species: str, size: str) -> Compression:
    """Return wet-service values of a post; incised except for southern pine, cedar and redwood.

    Raises KeyError for a size or species that is not held.
    """
    if size in ("4x4", "4x6"):
        four, six, emin = _LUMBER_COLUMNS[species]
        fc, emin = (four if size == "4x4" else six) * WET_FC, emin * WET_E
    else:
        fc, emin = _TIMBER_COLUMNS[species]
    if species in _INCISED:
        fc, emin = fc * INCISED_STRENGTH, emin * INCISED_E
    return Compression(fc, emin)


def column_stability(fc_star_psi: float, emin_psi: float, slenderness: float) -> float:
    """Return the column stability factor C_P of sawn lumber (NDS 2018 3.7.1.5, c = 0.8)."""
    euler = 0.822 * emin_psi / slenderness**2
    ratio = euler / fc_star_psi
    half = (1 + ratio) / (2 * _SAWN_C)
    return half - math.sqrt(half * half - ratio / _SAWN_C)


def post_height_in(species: str, size: str, load_lb: float, duration: float) -> int:
    """Return the tallest post in whole inches that carries a centered load (NDS 2018 3.7), at most 14 ft.

    Effective length = height, slenderness at most 50. One inch is taken off, so that no printed row of
    southern pine 4x4 (IRC 2021 Table R507.4, 40 psf) is exceeded. 0 when no height carries the load.
    """
    values = compression_values(species, size)
    thin_in, wide_in = POST_IN[size]
    fc_star = values.fc_psi * duration
    stress = load_lb / (thin_in * wide_in)
    tallest = 0
    for height_in in range(12, LONGEST_POST_IN + 2):
        slenderness = height_in / thin_in
        if slenderness > _SLENDEREST:
            break
        if stress > fc_star * column_stability(fc_star, values.emin_psi, slenderness):
            break
        tallest = height_in
    return max(0, min(LONGEST_POST_IN, tallest - 1))
