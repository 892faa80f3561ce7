"""Boards, notches, frost, beams with joists on both sides, poor screws, and wood that is not known."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.structure import run_checks
from triage.structure.facts import FACT_KEYS


def check(name, **facts):
    return next(one for one in run_checks(facts) if one.check == name)


@pytest.mark.parametrize(
    ("board", "direction", "spacing", "verdict"),
    [
        ("five-quarter", "straight", 16, "within"),  # IRC 2021 Table R507.7 (from memory)
        ("five-quarter", "straight", 16.5, "over"),
        ("five-quarter", "diagonal", 12, "within"),
        ("five-quarter", "diagonal", 16, "over"),
    ],
)
def test_five_quarter_boards_by_their_direction(board, direction, spacing, verdict):
    found = check("decking-span", decking_board=board, decking_direction=direction, joist_spacing_in=spacing)
    assert found.verdict == verdict


def test_composite_boards_go_by_their_maker_only():
    assert check("decking-span", decking_board="composite", joist_spacing_in=12).verdict == "cannot-say"
    told = check("decking-span", decking_board="composite", joist_spacing_in=16, decking_maker_spacing_in=12)
    assert told.verdict == "over"


@pytest.mark.parametrize(
    ("depth", "place", "verdict"),
    [
        (1.2, "outer-third", "within"),  # 7.25/6 = 1.208 (IRC 2021 R502.8.1, memory)
        (1.25, "outer-third", "over"),
        (1.8, "end", "within"),  # 7.25/4 = 1.8125
        (1.85, "end", "over"),
        (0.1, "middle-third", "over"),
        (1.0, None, "cannot-say"),
        (2.0, None, "over"),  # beyond the most that is allowed anywhere
    ],
)
def test_notches_of_a_2x8(depth, place, verdict):
    facts = {"joist_size": "2x8", "joist_notch_depth_in": depth}
    assert check("joist-notch", **facts, **({"joist_notch_place": place} if place else {})).verdict == verdict


@pytest.mark.parametrize(
    ("hole", "edge", "verdict"),
    [(2.4, 2.0, "within"), (2.5, 2.0, "over"), (1.0, 1.5, "over"), (1.0, None, "cannot-say")],
)
def test_holes_in_a_2x8(
    hole, edge, verdict
):  # 7.25/3 = 2.417, 2 in from the edges (IRC 2021 R502.8.1, memory)
    facts = {"joist_size": "2x8", "joist_hole_in": hole}
    assert check("joist-hole", **facts, **({"joist_hole_edge_in": edge} if edge else {})).verdict == verdict


def test_no_frost_depth_is_assumed():
    assert "frost-depth" not in {one.check for one in run_checks({"footing_depth_in": 6})}
    assert check("frost-depth", frost_depth_in=42).verdict == "cannot-say"
    assert check("frost-depth", frost_depth_in=42, footing_depth_in=12).verdict == "over"
    assert check("frost-depth", frost_depth_in=42, footing_depth_in=42).verdict == "within"


def test_a_beam_reaches_a_quarter_of_its_span_beyond_a_post():
    assert check("beam-overhang", beam_overhang_ft=2, beam_span_ft=8).verdict == "within"
    assert check("beam-overhang", beam_overhang_ft=2.1, beam_span_ft=8).verdict == "over"


BEAM = {
    "beam_size": "2-2x10",
    "beam_span_ft": 7.0,
    "beam_bearing": "on-post",
    "joist_span_ft": 8.0,
    "joist_overhang_ft": 1.0,
    "species": "southern-pine",
}


def test_joists_on_both_sides_load_the_beam_with_both_spans():
    alone = check("beam-span", **BEAM)
    both = check("beam-span", **BEAM, joists_both_sides=True, joist_span_other_side_ft=10.0)
    assert alone.verdict == "within"
    assert both.ratio > alone.ratio
    unknown = check("beam-span", **BEAM, joists_both_sides=True)
    assert unknown.verdict == "cannot-say"
    assert "joist_span_other_side_ft" in unknown.missing


@pytest.mark.parametrize("screw", ["deck-screw", "drywall-screw", "unmarked-screw"])
def test_poor_screws_are_within_nowhere(screw):
    facts = {
        "ledger_fastener": screw,
        "ledger_on": "band-joist",
        "ledger_edge_in": 3,
        "ledger_end_in": 3,
        "ledger_row_spacing_in": 3,
        "ledger_fastener_spacing_in": 8,
        "ledger_sheathing_in": 0.5,
        "joist_span_ft": 6,
        "species": "southern-pine",
    }
    ledger = [one for one in run_checks(facts) if one.check.startswith("ledger")]
    assert len(ledger) == 3
    assert all(one.verdict != "within" for one in ledger)


def test_structural_screws_are_within_by_their_makers_table_only():
    screws = {"ledger_fastener": "structural-screw", "ledger_fastener_spacing_in": 8, "joist_span_ft": 6}
    assert check("ledger-spacing-table", **screws).verdict == "cannot-say"
    assert check("ledger-spacing-table", **screws, ledger_screw_schedule_met=True).verdict == "within"
    assert check("ledger-spacing-table", **screws, ledger_screw_schedule_met=False).verdict == "over"
    bay = check(
        "ledger-spacing-table", **screws, ledger_screw_schedule_met=True, ledger_on="house-cantilever"
    )
    assert bay.verdict != "within"


def test_joists_through_the_wall_get_no_ledger_check():
    names = {one.check for one in run_checks({"house_side_support": "through-wall", "attached": True})}
    assert not {name for name in names if name.startswith("ledger")}


JOISTS = {"joist_size": "2x8", "joist_spacing_in": 16.0}
SPECIES = FACT_KEYS["species"].choices


@pytest.mark.parametrize(
    ("span", "verdict", "said"),
    [  # IRC 2021 Table R507.6, 2x8 at 16 in: southern pine 11-10, redwood and cedar 10-7 (public copies)
        (10.5, "within", "even if the wood is western-cedar"),
        (11.5, "cannot-say", "the species decides: within for southern-pine"),
        (12.0, "over", "even if the wood is southern-pine"),
    ],
)
def test_the_strongest_and_the_weakest_wood_bound_an_unknown_one(span, verdict, said):
    found = check("joist-span", **JOISTS, joist_span_ft=span)
    assert found.verdict == verdict
    assert said in found.why
    assert found.missing == (("species",) if verdict == "cannot-say" else ())


@settings(max_examples=60, deadline=None)
@given(
    span=st.floats(4, 20),
    spacing=st.sampled_from([12.0, 16.0, 24.0]),
    size=st.sampled_from(["2x6", "2x8", "2x10", "2x12"]),
    beam=st.sampled_from(["2-2x8", "2-2x10", "3-2x12"]),
    beam_span=st.floats(3, 18),
)
def test_unknown_wood_is_said_only_where_every_wood_says_it(span, spacing, size, beam, beam_span):
    facts = {
        "joist_size": size,
        "joist_spacing_in": spacing,
        "joist_span_ft": span,
        "joist_overhang_ft": 0.0,
        "beam_size": beam,
        "beam_span_ft": beam_span,
        "post_size": "6x6",
        "post_height_ft": 8.0,
    }
    each = [{one.check: one.verdict for one in run_checks({**facts, "species": name})} for name in SPECIES]
    for one in run_checks(facts):
        verdicts = {found[one.check] for found in each}
        if one.verdict != "cannot-say":
            assert verdicts == {one.verdict}, one


def test_heavy_things_of_unknown_weight_and_poor_grades_leave_nothing_within():
    fine = {**JOISTS, "joist_span_ft": 9.0, "species": "southern-pine"}
    assert check("joist-span", **fine).verdict == "within"
    heavy = check("joist-span", **fine, dead_load_items=["firewood"])
    assert (heavy.verdict, heavy.missing) == ("cannot-say", ("dead_load_psf",))
    assert check("joist-span", **fine, lumber_grade="below-no-2").verdict == "cannot-say"
    long = {**fine, "joist_span_ft": 15.0}
    assert check("joist-span", **long, dead_load_items=["firewood"]).verdict == "over"
