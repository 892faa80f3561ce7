"""An answer that comes back never moves the sets of parts under a click, in a real browser."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from triage.label.rows import give_labels
from triage.library import queries

pytestmark = pytest.mark.browser

OFTEN = {"shows-ledger": "present", "shows-joist": "present"}
SELDOM = {"shows-ledger": "present", "shows-hanger": "present"}


def test_sets_keep_their_place_and_nothing_changes_while_a_button_is_held(visitor, library):
    """The second set becomes the most frequent one by the answer: the server's list would put it first."""
    other, here = queries.photos(library, "D-18"), queries.photos(library, "D-17")
    give_labels(library, [(photo, OFTEN) for photo in other[:2]], by="ann")
    give_labels(library, [(here[0], SELDOM)], by="ann")
    page = visitor.go("/l/library/deck?d=D-17")
    sets = page.locator(".partsets button")
    before = sets.all_inner_texts()
    assert len(before) == 2
    assert "hanger" in before[1]
    held_back = []
    page.route("**/parts", lambda route: held_back.append(route))
    ticks = page.locator(".pick input")
    for place in (1, 2):
        ticks.nth(place).check()
    sets.nth(1).click()
    expect(page.locator("#held")).to_be_hidden()
    sets.nth(1).hover()
    page.mouse.down()
    with page.expect_response("**/parts") as came:
        held_back[0].continue_()
    assert came.value.json()["panel"].index("hanger") < came.value.json()["panel"].index("joist")
    caption = page.locator(f'[data-cap="{here[1].sha}"]')
    page.evaluate("() => new Promise((done) => setTimeout(done, 150))")
    assert "hanger" not in caption.inner_text()
    page.mouse.up()
    expect(caption).to_contain_text("hanger")
    assert sets.all_inner_texts() == before
    expect(page.locator("#heldparts")).to_contain_text("hanger")
    shown = {label.photo for label in queries.labels(library) if label.tag == "shows-hanger"}
    assert shown == {photo.sha for photo in here[:3]}


def test_the_count_of_a_part_stays_within_its_button(visitor, library):
    """A part shown well on some photos and poorly on others has the longest count."""
    here = queries.photos(library, "D-17")
    values = ["present", "present", "unclear"]
    give_labels(
        library, [(one, {"shows-hanger": value}) for one, value in zip(here, values, strict=False)], by="ann"
    )
    page = visitor.go("/l/library/deck?d=D-17")
    button = page.locator("[data-part=hanger]")
    expect(button).to_contain_text("2 + 1 poorly")
    edges = button.evaluate(
        "(one) => [one.querySelector('.value'), one].map((it) => it.getBoundingClientRect().right)"
    )
    assert edges[0] <= edges[1]


def test_a_sheet_without_proposals_keeps_the_margin_of_a_page(visitor):
    page = visitor.go("/l/library/proposals")
    assert page.locator("p.lead").bounding_box()["x"] >= 12
