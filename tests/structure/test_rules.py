"""How the checks decide: edges of the tables, what is never within, what is asked for."""

from __future__ import annotations

import json
from typing import Any

import pytest

from triage.errors import BadInput
from triage.structure import CHECK_IDS, Check, run_checks

BOLTED: dict[str, Any] = {
    "joist_span_ft": 12,
    "ledger_fastener": "half-inch-bolt",
    "ledger_fastener_spacing_in": 29,
    "ledger_sheathing_in": 0.5,
    "species": "southern-pine",
    "ledger_on": "band-joist",
}
LAGGED = {**BOLTED, "ledger_fastener": "half-inch-lag", "ledger_fastener_spacing_in": 15}
NAILED = {**BOLTED, "ledger_fastener": "nail", "ledger_nail": "16d-common"}
PLACED = {"ledger_edge_in": 2, "ledger_end_in": 2, "ledger_row_spacing_in": 1.625}
JOISTS: dict[str, Any] = {
    "species": "southern-pine",
    "joist_size": "2x10",
    "joist_spacing_in": 16,
    "joist_span_ft": 14,
}
BEAM: dict[str, Any] = {
    "species": "southern-pine",
    "beam_size": "2-2x10",
    "joist_span_ft": 10,
    "beam_span_ft": 8,
}


def one(name: str, facts: dict[str, Any], **more: Any) -> Check:
    return next(check for check in run_checks({**facts, **more}) if check.check == name)


# --- every check


ONLY_WHERE_MEASURED = (
    "joist-bearing",
    "decking-span",
    "joist-notch",
    "joist-hole",
    "beam-overhang",
    "frost-depth",
)


def test_without_facts_every_check_asks_for_them() -> None:
    checks = run_checks({})
    assert [check.check for check in checks] == [
        name for name in CHECK_IDS if name not in ONLY_WHERE_MEASURED
    ]
    for check in checks:
        assert check.verdict == "cannot-say"
        assert check.missing
        assert all(key in check.why for key in check.missing)


def test_json_has_the_promised_keys_and_no_nan() -> None:
    for check in run_checks({**BOLTED, **BEAM, "hold_down_count": 0, "stair_rise_in": 8}):
        plain = check.to_json()
        assert list(plain)[:10] == [
            "check",
            "kind",
            "demand",
            "capacity",
            "ratio",
            "unit",
            "verdict",
            "missing",
            "why",
            "source",
        ]
        json.dumps(plain, allow_nan=False)
        assert plain["kind"] in ("hazard", "departs-from-today")
        assert plain["source"]
        assert plain["why"]


def test_unknown_key_or_impossible_value_is_refused() -> None:
    with pytest.raises(BadInput, match="joist_spam_ft"):
        run_checks({"joist_spam_ft": 10})
    with pytest.raises(BadInput, match="typing error"):
        run_checks({"joist_span_ft": 90})


def test_raw_strings_and_nulls_are_taken() -> None:
    assert one("joist-span", {**JOISTS, "joist_span_ft": "168 in", "post_count": None}).ratio == 1.0


# --- ledger by the table


def test_exactly_what_the_table_allows_is_within() -> None:
    check = one("ledger-spacing-table", LAGGED)
    assert (check.demand, check.capacity, check.ratio, check.verdict) == (15, 15, 1.0, "within")
    assert one("ledger-spacing-table", LAGGED, ledger_fastener_spacing_in=15.1).verdict == "over"


@pytest.mark.parametrize(
    ("span_ft", "allowed_in"), [(5, 30), (6, 30), (11, 15), (12, 15), (12.01, 13), (18, 10)]
)
def test_a_span_between_two_columns_reads_the_harder(span_ft: float, allowed_in: float) -> None:
    assert one("ledger-spacing-table", LAGGED, joist_span_ft=span_ft).capacity == allowed_in


@pytest.mark.parametrize(
    ("loads", "allowed_in"),
    [
        ({"live_load_psf": 40}, 15),
        ({"live_load_psf": 30, "dead_load_psf": 7}, 15),
        ({"snow_load_psf": 40}, 15),
        ({"snow_load_psf": 41}, 14),
        ({"snow_load_psf": 50}, 14),
        ({"snow_load_psf": 50.5}, 12),
        ({"snow_load_psf": 70}, 11),
    ],
)
def test_snow_between_two_rows_reads_the_heavier(loads: dict[str, float], allowed_in: float) -> None:
    assert one("ledger-spacing-table", LAGGED, **loads).capacity == allowed_in


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"joist_span_ft": 18.1}, "ends at 18 ft"),
        ({"snow_load_psf": 71}, "ends at 70 psf snow"),
        ({"live_load_psf": 60}, "40 psf live load"),
        ({"dead_load_psf": 12}, "10 psf dead load"),
        ({"code_edition": "irc-2018", "snow_load_psf": 50}, "no row for 50 psf snow"),
        ({"ledger_sheathing_in": 0.75}, "sheathing up to 1/2 in"),
        ({"ledger_stacked_washers_in": 0.25}, "without stacked washers"),
        ({"ledger_size": "2x6"}, "2x8 or deeper"),
        ({"ledger_on": "engineered-rim"}, "accepted practice"),
        ({"ledger_on": "veneer"}, "veneer"),
        ({"ledger_on": "open-web-truss"}, "no band joist"),
        ({"ledger_fastener": "structural-screw"}, "own report"),
        ({"ledger_fastener": "other"}, "neither"),
    ],
)
def test_outside_the_table_needs_an_engineer(more: dict[str, Any], reason: str) -> None:
    check = one("ledger-spacing-table", LAGGED, ledger_fastener_spacing_in=9, **more)
    assert (check.verdict, check.reason) == ("cannot-say", "outside-table")
    assert check.why.startswith("outside the table R507.9.1.3(1): ")
    assert check.why.endswith("needs an engineer")
    assert reason in check.why
    assert check.missing == ()
    assert check.ratio is None


@pytest.mark.parametrize(
    ("sheathing_in", "washers_in", "allowed_in"),
    [(0.5, 0, 29), (0.5, 0.5, 24), (0.25, 0.25, 24), (1.0, 0, 24), (0.75, None, 24), (0.5, None, 29)],
)
def test_gap_at_the_bolts(sheathing_in: float, washers_in: float | None, allowed_in: float) -> None:
    more = {"ledger_sheathing_in": sheathing_in}
    if washers_in is not None:
        more["ledger_stacked_washers_in"] = washers_in
    assert one("ledger-spacing-table", BOLTED, **more).capacity == allowed_in


@pytest.mark.parametrize(("sheathing_in", "washers_in"), [(0.75, 0.5), (1.1, 0), (0.1, 0.75)])
def test_too_large_a_gap_is_outside_the_table(sheathing_in: float, washers_in: float) -> None:
    more = {"ledger_sheathing_in": sheathing_in, "ledger_stacked_washers_in": washers_in}
    close = {**BOLTED, "ledger_fastener_spacing_in": 20}
    assert one("ledger-spacing-table", close, **more).verdict == "cannot-say"
    assert one("ledger-spacing-table", BOLTED, **more).verdict == "over"  # 29 in, and 24 in at a gap of 1 in


@pytest.mark.parametrize(
    "more",
    [
        {"joist_span_ft": 19},
        {"dead_load_psf": 12},
        {"live_load_psf": 100},
        {"snow_load_psf": 90},
        {"ledger_on": "veneer"},
        {"ledger_size": "2x6"},
        {"ledger_fastener": "other", "ledger_fastener_spacing_in": 40},
        {"ledger_sheathing_in": 1.5},
    ],
)
def test_what_is_over_in_the_nearest_easier_cell_is_over(more: dict[str, Any]) -> None:
    over = {**LAGGED, "ledger_fastener_spacing_in": 32}
    check = one("ledger-spacing-table", over, **more)
    assert check.verdict == "over"
    assert check.ratio is not None
    assert check.ratio > 1
    assert "nearest easier cell" in check.why


def test_a_ledger_on_nobody_knows_what_is_not_within() -> None:
    for unsaid in ({k: v for k, v in LAGGED.items() if k != "ledger_on"}, {**LAGGED, "ledger_on": "unknown"}):
        check = one("ledger-spacing-table", unsaid)
        assert (check.verdict, check.missing) == ("cannot-say", ("ledger_on",))
        assert one("ledger-spacing-table", unsaid, ledger_fastener_spacing_in=32).verdict == "over"


@pytest.mark.parametrize(
    "key", ["joist_span_ft", "ledger_sheathing_in", "ledger_fastener_spacing_in", "ledger_fastener"]
)
def test_what_the_table_needs_is_asked_for(key: str) -> None:
    check = one("ledger-spacing-table", {k: v for k, v in LAGGED.items() if k != key})
    assert check.verdict == "cannot-say"
    assert check.missing == (key,)


def test_spacing_that_is_not_known_still_gets_the_limit() -> None:
    facts = {k: v for k, v in LAGGED.items() if k != "ledger_fastener_spacing_in"}
    assert one("ledger-spacing-table", facts).capacity == 15


def test_from_photos_alone_the_fastener_is_unknown() -> None:
    check = one("ledger-spacing-table", BOLTED, ledger_fastener="unknown")
    assert check.missing == ("ledger_fastener",)
    assert "look alike" in check.why


def test_fasteners_in_groups_share_the_length() -> None:
    check = one("ledger-spacing-table", BOLTED, ledger_fastener_spacing_in=16, ledger_fasteners_per_group=2)
    assert check.demand == 8


def test_a_deck_by_itself_has_no_ledger_checks() -> None:
    names = {check.check for check in run_checks({"attached": False})}
    assert not {"ledger-spacing-table", "ledger-fastener-mechanics", "ledger-placement", "hold-down"} & names
    assert "joist-span" in names
    own_beam = {check.check for check in run_checks({"house_side_support": "own-beam"})}
    assert "ledger-spacing-table" not in own_beam


# --- nails and mechanics


@pytest.mark.parametrize("spacing_in", [1, 4, 16, 48])
def test_nails_are_never_within_however_well_they_calculate(spacing_in: float) -> None:
    facts = {**NAILED, **PLACED, "ledger_fastener_spacing_in": spacing_in, "ledger_fasteners_per_group": 8}
    table, mechanics, placement = run_checks(facts)[:3]
    assert table.verdict == placement.verdict == "cannot-say"
    assert "R507.8" in table.why
    assert "R507.8" in placement.why
    assert mechanics.verdict == "over"
    assert "shear only, not counted (R507.8)" in mechanics.why
    assert mechanics.demand is not None
    assert mechanics.capacity is not None
    if spacing_in == 1:
        assert mechanics.ratio is not None
        assert mechanics.ratio < 1


def test_nails_of_unknown_size_are_over_without_numbers() -> None:
    check = one("ledger-fastener-mechanics", {"ledger_fastener": "nail"})
    assert (check.verdict, check.ratio, check.capacity) == ("over", None, None)
    assert "ledger_nail" in check.missing


def test_where_the_table_is_within_mechanics_is_never_over() -> None:
    table, mechanics = run_checks(BOLTED)[:2]
    assert table.verdict == "within"
    assert mechanics.verdict == "cannot-say"
    assert mechanics.ratio is not None
    assert mechanics.ratio > 1
    assert "the table rests on tests and governs" in mechanics.why


def test_mechanics_within_beside_a_table_that_is_within() -> None:
    assert one("ledger-fastener-mechanics", BOLTED, ledger_fastener_spacing_in=4).verdict == "within"


def test_mechanics_says_within_of_nothing_that_rests_on_a_gap_or_a_short_screw() -> None:
    thick = one("ledger-fastener-mechanics", BOLTED, ledger_fastener_spacing_in=4, ledger_sheathing_in=2)
    assert thick.ratio is not None
    assert thick.ratio < 1
    assert thick.verdict == "cannot-say"
    lag = one("ledger-fastener-mechanics", LAGGED, ledger_fastener_spacing_in=3, ledger_sheathing_in=0.75)
    assert lag.ratio is not None
    assert lag.ratio < 1
    assert lag.verdict == "cannot-say"
    assert "NDS 12.1.4.6" in lag.why


def test_load_per_bolt_is_half_the_joist_over_its_spacing() -> None:
    # 50 psf x 12 ft / 2 = 300 lb/ft; at 29 in 725 lb: what the printed table implies for a bolt.
    assert one("ledger-fastener-mechanics", BOLTED).demand == pytest.approx(725)
    assert one("ledger-fastener-mechanics", LAGGED).demand == pytest.approx(375)


def test_wet_service_and_snow_duration() -> None:
    wet = one("ledger-fastener-mechanics", BOLTED).capacity
    dry = one("ledger-fastener-mechanics", BOLTED, exposure="dry").capacity
    snow = one("ledger-fastener-mechanics", BOLTED, exposure="dry", snow_load_psf=70)
    assert wet is not None
    assert dry is not None
    assert wet == pytest.approx(0.7 * dry)
    assert snow.capacity == pytest.approx(1.15 * dry)
    assert snow.demand == pytest.approx(80 * 6 * 29 / 12)


# --- placement


def test_placement_within_over_and_asked_for() -> None:
    assert one("ledger-placement", {**BOLTED, **PLACED}).verdict == "within"
    for key, value in (
        ("ledger_edge_in", 1.9),
        ("ledger_end_in", 1),
        ("ledger_row_spacing_in", 1.5),
        ("ledger_row_spacing_in", 5.1),
    ):
        check = one("ledger-placement", {**BOLTED, **PLACED}, **{key: value})
        assert (check.verdict, check.ratio) == ("over", None)
    assert one("ledger-placement", BOLTED).missing == tuple(PLACED)


@pytest.mark.parametrize("on", ["veneer", "house-cantilever", "siding", "stucco"])
def test_good_bolts_into_what_may_carry_no_ledger(on: str) -> None:
    assert one("ledger-placement", {**BOLTED, **PLACED}, ledger_on=on).verdict == "over"
    assert one("ledger-spacing-table", {**BOLTED, **PLACED}, ledger_on=on).verdict == "cannot-say"


@pytest.mark.parametrize("on", ["concrete", "masonry", "open-web-truss"])
def test_what_is_designed_for_it_needs_an_engineer(on: str) -> None:
    check = one("ledger-placement", {**BOLTED, **PLACED}, ledger_on=on)
    assert check.verdict == "cannot-say"
    assert "needs an engineer" in check.why


# --- joists and beams


def test_joist_spacing_between_two_columns_reads_the_wider() -> None:
    assert one("joist-span", JOISTS, joist_spacing_in=19.2).capacity == pytest.approx(11 + 5 / 12)
    assert one("joist-span", JOISTS, joist_spacing_in=10).capacity == pytest.approx(16 + 2 / 12)
    assert one("joist-span", JOISTS, joist_spacing_in=25, joist_span_ft=11).verdict == "cannot-say"
    assert one("joist-span", JOISTS, joist_spacing_in=25, joist_span_ft=12).verdict == "over"


def test_edition_trap_of_2x6() -> None:
    facts = {**JOISTS, "species": "hem-fir", "joist_size": "2x6"}
    for edition, span_ft in (("irc-2018", 8 + 8 / 12), ("irc-2021", 8 + 4 / 12), ("dca6-2015", 8 + 4 / 12)):
        assert one("joist-span", facts, code_edition=edition).capacity == pytest.approx(span_ft)


def test_overhang_of_a_quarter_is_within() -> None:
    assert one("joist-overhang", JOISTS, joist_overhang_ft=3.5).verdict == "within"
    assert one("joist-overhang", JOISTS, joist_overhang_ft=3.51).verdict == "over"


def test_beam_columns_are_effective_spans_in_2021_only() -> None:
    # Joists of 12 ft without overhang: 0.66 x 12 = 7.92 ft: column 8 ft in 2021, 12 ft in 2018.
    facts = {**BEAM, "joist_span_ft": 12, "joist_overhang_ft": 0}
    assert one("beam-span", facts).capacity == 9.0
    assert one("beam-span", facts, code_edition="irc-2018").capacity == pytest.approx(7 + 4 / 12)
    assert one("beam-span", facts, code_edition="irc-2024").verdict == "cannot-say"


def test_unknown_overhang_says_only_what_holds_for_every_overhang() -> None:
    assert one("beam-span", BEAM, beam_span_ft=8).verdict == "within"  # 8-0 with the longest overhang
    between = one("beam-span", BEAM, beam_span_ft=8.5)
    assert between.verdict == "cannot-say"
    assert between.missing == ("joist_overhang_ft",)
    assert one("beam-span", BEAM, beam_span_ft=9.1).verdict == "over"  # 9-0 without overhang


def test_overhang_beyond_a_quarter_is_outside_the_factors() -> None:
    assert "R507.5(5)" in one("beam-span", BEAM, joist_overhang_ft=2.6).why


def test_side_bolted_beam_is_over_and_a_seat_is_within() -> None:
    assert one("beam-bearing", {}, beam_bearing="side-bolted", year_built=2020).verdict == "over"
    assert one("beam-bearing", {}, beam_bearing="notched").verdict == "within"
    assert one("beam-bearing", {}, beam_bearing="unknown").missing == ("beam_bearing",)
    assert "beam-span" not in {check.check for check in run_checks({"has_beam": False})}


# --- posts, footings, lateral


def test_posts_by_edition() -> None:
    post = {"post_size": "4x4", "post_height_ft": 8, "species": "southern-pine", "tributary_area_sqft": 100}
    assert one("post-height", post).verdict == "within"
    assert one("post-height", post, tributary_area_sqft=101).verdict == "over"
    assert one("post-height", post, code_edition="irc-2018").verdict == "over"
    on_cap = {"code_edition": "irc-2018", "post_cap": True, "beam_size": "2-2x10"}
    assert one("post-height", post, **on_cap).verdict == "within"
    assert one("post-height", post, **{**on_cap, "beam_size": "3-2x10"}).verdict == "over"
    slim = one("post-height", post, code_edition="dca6-2015")
    assert (slim.verdict, slim.ratio) == ("over", None)
    assert one("post-height", post, tributary_area_sqft=161).verdict == "over"  # 6-2 at 160 sq ft
    assert one("post-height", post, tributary_area_sqft=161, post_height_ft=6).verdict == "cannot-say"


def test_post_without_area_takes_an_inner_post() -> None:
    facts = {
        "post_size": "6x6",
        "post_height_ft": 8,
        "species": "southern-pine",
        "beam_span_ft": 8,
        "joist_span_ft": 10,
        "joist_overhang_ft": 2,
    }
    assert "56 sq ft on an inner post" in one("post-height", facts).why
    del facts["beam_span_ft"]
    assert one("post-height", facts).missing == ("tributary_area_sqft",)


def test_footing_by_area_and_by_soil() -> None:
    footing = {"tributary_area_sqft": 60, "footing_shape": "square", "footing_width_in": 17}
    assert one("footing-size", footing).verdict == "within"
    assert one("footing-size", footing, footing_width_in=16).verdict == "over"
    assert one("footing-size", footing, tributary_area_sqft=61).demand == 20
    assert one("footing-size", footing, soil_psf=2000).demand == 15  # 3000 lb / 2000 psf
    assert one("footing-size", footing, snow_load_psf=70).demand == 22  # 4800 lb / 1500 psf
    assert one("footing-size", footing, soil_psf=1000).verdict == "cannot-say"
    assert one("footing-size", footing, footing_depth_in=6).demand == 12
    assert one("footing-size", footing, tributary_area_sqft=200).verdict == "over"  # 28 in at 160 sq ft
    wide = {**footing, "footing_width_in": 40}
    assert one("footing-size", wide, tributary_area_sqft=200).verdict == "cannot-say"
    light = {**footing, "tributary_area_sqft": 40, "footing_width_in": 14}
    assert one("footing-size", light).demand == 14
    assert one("footing-size", light, dead_load_psf=13).demand >= 14  # more load never asks for less


@pytest.mark.parametrize(
    ("count", "each_lb", "verdict"),
    [
        (2, 1500, "within"),
        (2, 1400, "over"),
        (4, 750, "within"),
        (3, 750, "over"),
        (1, 5000, "over"),
        (0, None, "over"),
        (2, None, "cannot-say"),
    ],
)
def test_hold_downs(count: int, each_lb: float | None, verdict: str) -> None:
    check = one("hold-down", {"hold_down_count": count, "hold_down_capacity_lb": each_lb})
    assert (check.verdict, check.kind) == (verdict, "departs-from-today")


# --- guards and stairs


@pytest.mark.parametrize(("height_in", "verdict"), [(30, "within"), (30.1, "over"), (72, "over")])
def test_a_guard_is_needed_over_30_in(height_in: float, verdict: str) -> None:
    check = one("guard-height", {"height_above_grade_ft": f"{height_in} in", "has_guard": False})
    assert check.verdict == verdict
    assert check.kind == ("hazard" if verdict == "over" else "departs-from-today")


def test_guard_and_stair_guard_are_both_judged() -> None:
    high = {"height_above_grade_ft": 8, "guard_height_in": 36, "guard_gap_in": 3.9}
    assert one("guard-height", high).verdict == "within"
    assert one("guard-height", high, has_stairs=True).missing == ("stair_guard_height_in",)
    assert one("guard-height", high, stair_guard_height_in=33).verdict == "over"
    assert one("guard-opening", high, stair_guard_gap_in=4.375).verdict == "within"
    assert one("guard-opening", high, stair_guard_gap_in=4.5).verdict == "over"
    assert one("guard-opening", high, guard_gap_in=4.01, has_stairs=True).verdict == "over"


def test_guard_posts() -> None:
    high = {"height_above_grade_ft": 8}
    assert one("guard-post", high, guard_post_firm=True, guard_post_notched=False).verdict == "within"
    loose = one("guard-post", high, guard_post_firm=False)
    assert (loose.verdict, loose.kind) == ("over", "hazard")
    assert one("guard-post", {"height_above_grade_ft": 2, "guard_post_firm": False}).verdict == "over"
    assert one("guard-post", {"height_above_grade_ft": 2, "guard_post_notched": True}).verdict == "within"
    notched = one("guard-post", high, guard_post_firm=True, guard_post_notched=True)
    assert (notched.verdict, notched.kind) == ("over", "departs-from-today")
    assert one("guard-post", high, guard_post_firm=True).missing == ("guard_post_notched",)


def test_stairs() -> None:
    assert one("stair-rise", {"stair_rise_in": 7.75}).verdict == "within"
    assert one("stair-rise", {"stair_rise_in": 8}).kind == "departs-from-today"
    uneven = one("stair-rise", {"stair_rise_in": 7, "stair_rise_spread_in": 0.5})
    assert (uneven.verdict, uneven.kind) == ("over", "hazard")
    assert one("stair-run", {"stair_run_in": 9.5}).verdict == "over"
    assert one("stringer-attachment", {"stringer_attachment": "nails"}).verdict == "over"
    assert one("stringer-attachment", {"stringer_attachment": "hanger"}).verdict == "within"
    assert "stair-rise" not in {check.check for check in run_checks({"has_stairs": False})}


# --- age and what no table holds


@pytest.mark.parametrize(
    ("name", "facts"),
    [
        ("hold-down", {"hold_down_count": 0}),
        ("guard-height", {"height_above_grade_ft": 8, "guard_height_in": 34}),
        ("stair-rise", {"stair_rise_in": 8.25}),
        ("beam-bearing", {"beam_bearing": "side-bolted"}),
        ("joist-span", {**JOISTS, "joist_span_ft": 15}),
    ],
)
def test_an_older_deck_may_have_been_allowed_when_built(name: str, facts: dict[str, Any]) -> None:
    assert "may have been allowed when built" in one(name, facts, year_built=1990).why
    assert "may have been allowed when built" not in one(name, facts, year_built=2023).why
    assert "may have been allowed when built" not in one(name, facts).why


@pytest.mark.parametrize(
    "more", [{"extra_load": "hot-tub"}, {"extra_load": "roof"}, {"fire": True}, {"storeys": 2}]
)
def test_beyond_every_table_nothing_is_within_and_over_stays_over(more: dict[str, Any]) -> None:
    for name, good, bad in (
        ("ledger-spacing-table", LAGGED, {"ledger_fastener_spacing_in": 20}),
        ("joist-span", JOISTS, {"joist_span_ft": 15}),
        ("beam-span", BEAM, {"beam_span_ft": 12}),
    ):
        held = one(name, good, **more)
        assert held.verdict == "cannot-say"
        assert "needs an engineer" in held.why
        assert one(name, good, **{**more, **bad}).verdict == "over"
