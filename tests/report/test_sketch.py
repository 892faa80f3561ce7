"""The sketch: drawn from the facts, honest about what is not known, marks where the words say."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from report_made import busy_deck, concern, fact, summary

from triage.assess.records import Seen
from triage.report.concern_view import concern_numbers
from triage.report.sketch import HEIGHT, WIDTH, draw_deck
from triage.report.sketch_facts import measures
from triage.report.sketch_marks import Anchors, place_point, spread

SVG = "{http://www.w3.org/2000/svg}"


def drawn(facts: dict[str, Any], *concerns: Any, coverage: tuple[Seen, ...] = ()) -> ET.Element:
    one = summary("d", *concerns, coverage=coverage)
    text = draw_deck(
        {key: fact("d", key, value) for key, value in facts.items()}, one, concern_numbers(one), {}
    )
    return ET.fromstring(text)  # noqa: S314 (made here)


def words(root: ET.Element) -> list[str]:
    return [text.text or "" for text in root.iter(f"{SVG}text")]


FULL = {
    "deck_width_ft": 16.0,
    "deck_depth_ft": 12.0,
    "joist_span_ft": 10.0,
    "joist_count": 13,
    "height_above_grade_ft": 7.0,
    "post_count": 4,
    "ledger_fastener_spacing_in": 24,
}


def test_drawn_to_scale_only_when_the_facts_are_there() -> None:
    assert any("Drawn to the stated sizes" in line for line in words(drawn(FULL)))
    for missing in ("deck_width_ft", "height_above_grade_ft", "post_count", "joist_count"):
        facts = {key: value for key, value in FULL.items() if key != missing}
        assert any(line.startswith("Not to scale: not known:") for line in words(drawn(facts))), missing


def test_as_many_joists_posts_and_fasteners_as_the_facts_say() -> None:
    root = drawn(FULL)
    upright = [
        line
        for line in root.iter(f"{SVG}line")
        if line.get("x1") == line.get("x2") and line.get("stroke-width") == "0.9"
    ]
    assert len(upright) == 13
    posts = [r for r in root.iter(f"{SVG}rect") if (r.get("width"), r.get("height")) == ("10", "10")]
    assert len(posts) == 4
    assert len(list(root.iter(f"{SVG}circle"))) == 16 * 12 // 24 + 1  # one every 24 in over 16 ft, both ends


def test_beam_and_depth_stand_in_proportion() -> None:
    root = drawn(FULL)
    rects = [
        {k: float(r.get(k, "0")) for k in ("x", "y", "width", "height")} for r in root.iter(f"{SVG}rect")
    ]
    deck = max((r for r in rects if r["x"] < WIDTH / 2), key=lambda r: r["width"] * r["height"])
    beam = next(r for r in rects if r["height"] == 8 and abs(r["width"] - deck["width"]) < 6)
    depth = deck["height"] - 6
    assert (beam["y"] + 4 - (deck["y"] + 6)) / depth == pytest.approx(10 / 12, abs=0.01)
    assert deck["width"] / depth == pytest.approx(16 / 12, abs=0.01)


def test_what_was_not_seen_is_drawn_and_said_as_not_seen() -> None:
    seen = Seen("beam", "well", (), None, None, "")
    root = drawn(FULL, coverage=(seen,))
    said = words(root)
    assert "beam: seen well" in said
    assert "post: not seen" in said
    assert "ledger: not seen" in said


def test_marks_carry_the_numbers_of_the_list() -> None:
    one, record = busy_deck()
    numbered = concern_numbers(one)
    text = draw_deck(record.facts, one, numbered, {})
    open_numbers = [number for number, each in numbered.items() if each.status != "repaired"]
    marks = [t.text for t in ET.fromstring(text).iter(f"{SVG}text") if t.get("font-size") == "12"]  # noqa: S314
    assert marks == [str(number) for number in open_numbers]
    assert len(open_numbers) < len(numbered)


ANCHORS = Anchors(
    (10.0, 20.0, 30.0, 40.0, 50.0), (12.0, 30.0, 48.0), 5.0, 95.0, {"ledger": (7.0, 7.0)}, (1.0, 1.0)
)


@pytest.mark.parametrize(
    ("place", "element", "point"),
    [
        ("joist 1 of 5 from the left, facing the house, house side", "hanger", (10, 5)),
        ("joist 2 of 5 from the right, facing the house, beam side", "joist", (40, 95)),
        ("Joist 3 of 5 from the left", "joist", (30, 50)),
        ("joist 4 of 14 from the left, house side", "hanger", (10 + 40 * 3 / 13, 5)),
        ("post 3 of 3 from the left", "post", (48, 95)),
        ("post 2", "post", (30, 95)),
        ("left end", "ledger", (7, 7)),
        ("somewhere", "no-such-part", (1, 1)),
        ("joist 9 of 5", "ledger", (7, 7)),
        (None, "ledger", (7, 7)),
    ],
)
def test_places_in_words_become_points(place: str | None, element: str, point: tuple[float, float]) -> None:
    assert place_point(place, element, ANCHORS) == pytest.approx(point)


def test_marks_never_cover_each_other() -> None:
    taken: list[tuple[float, float]] = []
    for _ in range(40):
        spread((30.0, 30.0), taken, 120.0)
    for index, (x, y) in enumerate(taken):
        for ox, oy in taken[:index]:
            assert abs(x - ox) >= 20 or abs(y - oy) >= 17


number = st.one_of(st.none(), st.booleans(), st.sampled_from(["", "8 ft", "2x8"]), st.floats(), st.integers())


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(st.sampled_from([*FULL, "has_beam", "has_stairs", "has_guard", "attached"]), number))
def test_no_fact_breaks_the_drawing(facts: dict[str, Any]) -> None:
    root = drawn(facts, concern(place="joist 4 of 14"))
    for element in root.iter():
        for name in ("x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "width", "height"):
            value = element.get(name)
            if value is not None:
                assert re.fullmatch(r"-?\d+(\.\d)?", value)
                assert -30 <= float(value) <= max(WIDTH, HEIGHT) + 30
    size = measures({key: fact("d", key, value) for key, value in facts.items()})
    assert size.joist_count <= 60
