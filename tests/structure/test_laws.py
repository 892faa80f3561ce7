"""Laws of the checks, over many decks: what rises with span and load, and what is never said."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.structure import CHECK_IDS, Check, run_checks
from triage.structure.facts import FACT_KEYS
from triage.structure.nds_dowel import Member, bolt, lag_screw, nail, reduction_terms, yield_loads_lb
from triage.structure.nds_members import joist_span_ft

SPECIES = ("southern-pine", "douglas-fir-larch", "hem-fir", "spruce-pine-fir", "redwood", "western-cedar")
SPANS = st.floats(1, 18)
SNOW = st.floats(0, 70)


def _value(key: str) -> st.SearchStrategy[Any]:
    schema = FACT_KEYS[key]
    if schema.type == "number":
        return st.floats(schema.low, schema.high)
    if schema.type == "count":
        return st.integers(int(schema.low), int(schema.high))
    if schema.type == "bool":
        return st.booleans()
    if schema.type == "choice":
        return st.sampled_from(schema.choices)
    if schema.type == "list":
        return st.lists(st.sampled_from(schema.choices), max_size=3)
    sizes = {
        "member": ["2x6", "2x8", "2x10", "2x14"],
        "post": ["4x4", "4x6", "6x6", "8x8", "4x8"],
        "beam": ["2-2x6", "3-2x12", "1-2x8", "2-2x14"],
        "text": ["soffit"],
    }
    return st.sampled_from(sizes[schema.type])


FACTS = st.fixed_dictionaries({}, optional={key: _value(key) for key in FACT_KEYS})


def one(name: str, facts: dict[str, Any]) -> Check:
    return next(check for check in run_checks(facts) if check.check == name)


@settings(max_examples=250, deadline=None)
@given(FACTS)
def test_whatever_is_known_each_check_is_whole(facts: dict[str, Any]) -> None:
    checks = run_checks(facts)
    names = [check.check for check in checks]
    assert names == [name for name in CHECK_IDS if name in names]
    for check in checks:
        json.dumps(check.to_json(), allow_nan=False)
        assert check.verdict in ("within", "over", "cannot-say")
        assert set(check.missing) <= set(FACT_KEYS)
        if check.verdict == "within":
            assert not check.missing
            assert check.ratio is None or check.ratio <= 1 + 1e-9
        if check.ratio is not None and check.ratio > 1 + 1e-9:
            assert check.verdict != "within"
        for number in (check.demand, check.capacity, check.ratio):
            assert number is None or math.isfinite(number)


@settings(max_examples=200, deadline=None)
@given(FACTS)
def test_a_nailed_ledger_is_never_within(facts: dict[str, Any]) -> None:
    ledger = [check for check in run_checks({**facts, "ledger_fastener": "nail"}) if "ledger" in check.check]
    assert all(check.verdict != "within" for check in ledger)
    if ledger:
        assert next(c for c in ledger if c.check == "ledger-fastener-mechanics").verdict == "over"


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(["half-inch-bolt", "half-inch-lag"]),
    SPANS,
    st.floats(1, 40),
    st.floats(0, 1.2),
    SNOW,
    st.sampled_from(SPECIES),
    st.sampled_from(SPECIES),
    st.sampled_from(["dry", "wet", "coastal"]),
)
def test_mechanics_never_fails_a_ledger_that_meets_the_table(
    fastener: str,
    span: float,
    spacing: float,
    sheathing: float,
    snow: float,
    ledger: str,
    band: str,
    exposure: str,
) -> None:
    table, mechanics = run_checks(
        {
            "ledger_fastener": fastener,
            "joist_span_ft": span,
            "ledger_fastener_spacing_in": spacing,
            "ledger_sheathing_in": sheathing,
            "snow_load_psf": snow,
            "ledger_species": ledger,
            "band_species": band,
            "exposure": exposure,
        }
    )[:2]
    assert not (table.verdict == "within" and mechanics.verdict == "over")


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(["half-inch-bolt", "half-inch-lag"]), SPANS, SPANS, SNOW, SNOW, st.floats(1, 40))
def test_ledger_ratio_rises_with_span_and_load(
    fastener: str, span_a: float, span_b: float, snow_a: float, snow_b: float, spacing: float
) -> None:
    base = {
        "ledger_fastener": fastener,
        "ledger_fastener_spacing_in": spacing,
        "ledger_sheathing_in": 0.5,
        "species": "hem-fir",
        "ledger_on": "band-joist",
    }
    light = run_checks({**base, "joist_span_ft": min(span_a, span_b), "snow_load_psf": min(snow_a, snow_b)})[
        :2
    ]
    heavy = run_checks({**base, "joist_span_ft": max(span_a, span_b), "snow_load_psf": max(snow_a, snow_b)})[
        :2
    ]
    for less, more in zip(light, heavy, strict=True):
        assert less.ratio is not None
        assert more.ratio is not None
        assert less.ratio <= more.ratio + 1e-9


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(SPECIES),
    st.sampled_from(["2x6", "2x8", "2x10", "2x12"]),
    st.floats(4, 24),
    st.floats(4, 24),
    SNOW,
    SNOW,
)
def test_allowed_joist_span_falls_with_spacing_and_snow(
    species: str, size: str, spacing_a: float, spacing_b: float, snow_a: float, snow_b: float
) -> None:
    base = {"species": species, "joist_size": size, "joist_span_ft": 10}
    spacings, snows = sorted((spacing_a, spacing_b)), sorted((snow_a, snow_b))
    light = one("joist-span", {**base, "joist_spacing_in": spacings[0], "snow_load_psf": snows[0]})
    heavy = one("joist-span", {**base, "joist_spacing_in": spacings[1], "snow_load_psf": snows[1]})
    assert light.ratio is not None
    assert heavy.ratio is not None
    assert light.ratio <= heavy.ratio + 1e-9


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(SPECIES),
    st.sampled_from(["2-2x8", "2-2x12", "3-2x10"]),
    st.sampled_from(["irc-2021", "irc-2018"]),
    SPANS,
    SPANS,
    st.floats(0, 0.25),
    st.floats(0, 0.25),
)
def test_allowed_beam_span_falls_with_joist_span_and_overhang(
    species: str, size: str, edition: str, span_a: float, span_b: float, share_a: float, share_b: float
) -> None:
    spans, shares = sorted((span_a, span_b)), sorted((share_a, share_b))
    base = {"species": species, "beam_size": size, "beam_span_ft": 6, "code_edition": edition}
    light, heavy = (
        one("beam-span", {**base, "joist_span_ft": span, "joist_overhang_ft": min(15.0, span * share)})
        for span, share in zip(spans, shares, strict=True)
    )
    assert light.ratio is not None
    assert heavy.ratio is not None
    assert light.ratio <= heavy.ratio + 1e-9


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(SPECIES),
    st.sampled_from(["4x4", "4x6", "6x6", "8x8"]),
    st.floats(1, 160),
    st.floats(1, 160),
    SNOW,
)
def test_post_and_footing_grow_with_the_area(
    species: str, size: str, area_a: float, area_b: float, snow: float
) -> None:
    base = {
        "post_species": species,
        "post_size": size,
        "post_height_ft": 8,
        "snow_load_psf": snow,
        "footing_shape": "round",
        "footing_width_in": 20,
    }
    small = {**base, "tributary_area_sqft": min(area_a, area_b)}
    large = {**base, "tributary_area_sqft": max(area_a, area_b)}
    low, high = one("post-height", large).capacity, one("post-height", small).capacity
    assert low is not None
    assert high is not None
    assert low <= high + 1e-9
    narrow, wide = one("footing-size", small).demand, one("footing-size", large).demand
    assert narrow is not None
    assert wide is not None
    assert narrow <= wide


MEMBERS = st.builds(Member, st.floats(1000, 8000), st.floats(0.5, 6))
DOWELS = st.sampled_from([bolt(0.5), bolt(0.75), lag_screw(0.5), nail(0.162), nail(0.135)])


@settings(max_examples=200, deadline=None)
@given(MEMBERS, MEMBERS, DOWELS)
def test_without_gap_the_general_equations_are_those_of_the_nds_table(
    main: Member, side: Member, dowel: Any
) -> None:
    """NDS 2018 Table 12.3.1A, Eq. 12.3-1 to 12.3-6, with k1, k2, k3 written as printed."""
    d, f_yb = dowel.yield_in, dowel.bending_psi
    l_m, l_s, f_em, f_es = main.length_in, side.length_in, main.bearing_psi, side.bearing_psi
    r_e, r_t = f_em / f_es, l_m / l_s
    k1 = (math.sqrt(r_e + 2 * r_e**2 * (1 + r_t + r_t**2) + r_t**2 * r_e**3) - r_e * (1 + r_t)) / (1 + r_e)
    k2 = -1 + math.sqrt(2 * (1 + r_e) + 2 * f_yb * (1 + 2 * r_e) * d**2 / (3 * f_em * l_m**2))
    k3 = -1 + math.sqrt(2 * (1 + r_e) / r_e + 2 * f_yb * (2 + r_e) * d**2 / (3 * f_em * l_s**2))
    printed = {
        "Im": d * l_m * f_em,
        "Is": d * l_s * f_es,
        "II": k1 * d * l_s * f_es,
        "IIIm": k2 * d * l_m * f_em / (1 + 2 * r_e),
        "IIIs": k3 * d * l_s * f_em / (2 + r_e),
        "IV": d**2 * math.sqrt(2 * f_em * f_yb / (3 * (1 + r_e))),
    }
    assert yield_loads_lb(main, side, dowel) == pytest.approx(printed, rel=1e-6)


@settings(max_examples=150, deadline=None)
@given(MEMBERS, MEMBERS, DOWELS, st.floats(0, 3), st.floats(0, 90))
def test_a_gap_never_helps_and_no_reduction_term_is_small(
    main: Member, side: Member, dowel: Any, gap_in: float, angle: float
) -> None:
    touching, apart = yield_loads_lb(main, side, dowel), yield_loads_lb(main, side, dowel, gap_in)
    assert all(apart[mode] <= touching[mode] * (1 + 1e-9) for mode in touching)
    assert min(reduction_terms(dowel, angle).values()) >= 2.2


def test_no_design_values_no_span() -> None:
    assert joist_span_ft("redwood", "2x8", 16, 40, 10, 1.0) is None
    assert joist_span_ft("hem-fir", "2x4", 16, 40, 10, 1.0) is None
