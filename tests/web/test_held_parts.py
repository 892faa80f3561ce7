"""Parts first, then photos: what is held is given to every photo that is clicked, and to no other."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from triage.library import queries

pytestmark = pytest.mark.browser


def said(library):
    return {
        (label.photo, label.tag.removeprefix("shows-")): label.value
        for label in queries.labels(library)
        if label.tag.startswith("shows-")
    }


def test_parts_are_held_and_given_to_the_photos_that_are_clicked(visitor, library):
    one, two, three = (photo.sha for photo in queries.photos(library, "D-17"))
    page = visitor.go("/l/library/deck?d=D-17")
    page.click("[data-part=hanger]")
    page.click("[data-part=joist]", modifiers=["Shift"])
    page.click("[data-part=ledger]")
    page.click("[data-part=ledger]")  # taken back before any photo had it
    expect(page.locator("#heldparts")).to_have_text("hanger, joist (poorly)")
    assert said(library) == {}, "holding parts says nothing yet"
    assert visitor.axe() == []
    page.locator(".pick img").nth(0).click()
    visitor.said("1 photo shows the hanger, shows poorly the joist.")
    assert said(library) == {(one, "hanger"): "present", (one, "joist"): "unclear"}
    assert page.locator(".pick input:checked").count() == 0
    with page.expect_response(lambda answer: answer.url.endswith("/parts")):
        page.locator(".pick img").nth(2).click(modifiers=["Shift"])
    assert {sha for sha, _ in said(library)} == {one, two, three}
    page.keyboard.press("Escape")
    expect(page.locator("#held")).to_be_hidden()
    page.locator(".pick img").nth(1).click()
    expect(page.locator("#chosen")).to_contain_text("1 chosen.")
    page.click("[data-part=beam]")  # photos first, as ever
    visitor.said("1 photo shows the beam.")
    assert said(library)[two, "beam"] == "present"
    assert (one, "beam") not in said(library)
