"""A length beside a card becomes a fact, a box drawn is black in reports: as the commands do it."""

from __future__ import annotations

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.slate.flat_card import CORNER, PX_PER_MM, SIZE, card_photo, save_photo
from tests.web.browsing import Visitor
from triage.imaging.blackout import blackouts
from triage.ingest import ingest
from triage.library import queries
from triage.slate.card import Card, library_code
from triage.slate.measure import lengths
from triage.slate.of_library import measurable_photo

DISTANCE_IN = 100 / 25.4
"""What is clicked lies 100 mm apart in the plane of the drawn card."""


def _spot(x_mm, y_mm):
    return (CORNER[0] + x_mm * PX_PER_MM) / SIZE[0], (CORNER[1] + y_mm * PX_PER_MM) / SIZE[1]


@pytest.fixture
def carded(library, tmp_path):
    """A photo of D-17 that shows its card."""
    card = Card(library_code(library.id), "D-17", "2026-05-04", False)
    save_photo(tmp_path / "more" / "card.jpg", card_photo(card), "2026:05:04 10:30:00")
    ingest(library, [tmp_path / "more"], by="ann", deck="D-17", visit="2026-05-04", engine="here")
    return queries.find_photo(library, "D-17/card.jpg")


def test_length_is_the_one_of_the_command_and_becomes_a_fact(page, library, carded):
    points = [list(_spot(300, 60)), list(_spot(400, 60))]
    where = f"/l/library/photo/{carded.sha}/measure"
    told = page.json(where, {"points": points, "fact": "ledger_fastener_spacing_in"}).json
    plane, _ = measurable_photo(library, carded)
    (one,) = lengths(plane, [tuple(point) for point in points])
    assert one.low <= DISTANCE_IN <= one.high
    assert told["lengths"] == [f"{one.inches:.2f} in (95 %: {one.low:.2f} to {one.high:.2f})"]
    assert told["remarks"] == list(plane.remarks)
    fact = queries.facts(library, "D-17")["ledger_fastener_spacing_in"]
    assert fact.value == pytest.approx(DISTANCE_IN, abs=0.05)
    assert (fact.by, fact.photos) == ("ann", (carded.sha,))


def test_what_cannot_be_measured_is_said(page, library, carded):
    plain = queries.photos(library, "D-17")[0]
    told = page.json(f"/l/library/photo/{plain.sha}/measure", {"points": []})
    assert told.status == 400
    assert "No card is seen" in told.json["error"]
    where = f"/l/library/photo/{carded.sha}/measure"
    for bad in (
        {"points": [[0.1]]},
        {"points": [[0.1, "x"], [0, 0]]},
        {"points": "x"},
        {"points": [[0, 0]] * 99},
    ):
        assert page.json(where, bad).status == 400
    spots = {"points": [list(_spot(300, 60)), list(_spot(400, 60))]}
    assert page.json(where, {**spots, "fact": "species"}).status == 400
    assert page.json(where, {"points": [[0.1, 0.1], [2, 0.1]]}).status == 400
    assert queries.facts(library, "D-17") == {}


def test_blackouts_are_replaced_and_taken_away(page, library):
    sha = queries.photos(library, "D-17")[0].sha
    where = f"/l/library/photo/{sha}/blackout"
    assert page.json(where, {"boxes": [[0.1, 0.2, 0.3, 0.2]]}).status == 200
    assert blackouts(library)[sha] == [(0.1, 0.2, 0.3, 0.2)]
    for bad in ([[0.9, 0.2, 0.3, 0.2]], [[0.1, 0.2, 0, 0]], [[0.1, 0.2]], "x"):
        assert page.json(where, {"boxes": bad}).status == 400
    assert blackouts(library)[sha] == [(0.1, 0.2, 0.3, 0.2)]
    assert page.json(where, {"boxes": []}).json["told"] == "Reports show the whole photo."
    assert blackouts(library) == {}


@pytest.mark.browser
def test_length_is_measured_by_mouse_and_kept(browser, running, library, carded):
    visitor = Visitor(browser, running, "ann")
    page = visitor.go(f"/l/library/photo/{carded.sha}")
    page.click("text=Measure, black out")
    with page.expect_navigation():
        page.click("text=Measure by a card")
    expect(page.locator("#card")).to_have_text("The card's plane is found.", timeout=15_000)
    paper = page.locator("#paper").bounding_box()
    for x, y in (_spot(300, 60), _spot(400, 60)):
        page.mouse.click(paper["x"] + x * paper["width"], paper["y"] + y * paper["height"])
    expect(page.locator("#lengths li")).to_contain_text("in (95 %:")
    page.select_option("#fact", "ledger_fastener_spacing_in")
    page.click("text=Keep the length")
    visitor.said("Kept for deck D-17")
    assert queries.facts(library, "D-17")["ledger_fastener_spacing_in"].value == pytest.approx(
        DISTANCE_IN, abs=0.1
    )
    assert visitor.axe() == []
    visitor.close()


@pytest.mark.browser
def test_box_drawn_by_mouse_and_one_by_keyboard_are_black_in_the_report(visitor, library, tmp_path):
    from triage.assess import assess_library
    from triage.report.gather import gather_source
    from triage.report.pictures import blacked

    sha = queries.photos(library, "D-17")[0].sha
    page = visitor.go(f"/l/library/photo/{sha}")
    page.click("text=Measure, black out")
    with page.expect_navigation():
        page.click("text=Black out in reports")
    paper = page.locator("#paper").bounding_box()
    page.mouse.move(paper["x"] + 0.1 * paper["width"], paper["y"] + 0.1 * paper["height"])
    page.mouse.down()
    page.mouse.move(paper["x"] + 0.4 * paper["width"], paper["y"] + 0.4 * paper["height"], steps=4)
    page.mouse.up()
    visitor.said("1 box will be black in reports.")
    page.locator("#frame").focus()
    page.keyboard.press("Space")
    for _ in range(5):
        page.keyboard.press("ArrowRight")
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    visitor.said("2 boxes will be black in reports.")
    mouse, keys = blackouts(library)[sha]
    assert mouse == pytest.approx((0.1, 0.1, 0.3, 0.3), abs=0.01)
    assert keys == pytest.approx((0.5, 0.5, 0.1, 0.1), abs=0.001)
    assert visitor.axe() == []
    page.click("text=Take box 2 away")
    visitor.said("1 box will be black in reports.")
    source = gather_source(library, assess_library(library))
    assert source.blackouts[sha] == [mouse]
    painted = np.asarray(blacked(source.provider, sha, source.blackouts[sha]))
    high, wide = painted.shape[:2]
    assert painted[int(0.15 * high) : int(0.35 * high), int(0.15 * wide) : int(0.35 * wide)].max() == 0
    assert painted[int(0.6 * high) :].max() > 0
