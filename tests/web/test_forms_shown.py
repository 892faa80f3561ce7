"""What only a browser shows of forms and of what is told: at its field, and never over a photo."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.web.browsing import Visitor
from triage.library import queries

pytestmark = pytest.mark.browser


def test_a_form_keeps_what_was_entered_and_says_every_wrong_value_at_its_field(visitor, library):
    page = visitor.go("/l/library/deck/say?d=D-17")
    card = page.locator(".card", has_text="A finding that no tag covers")
    card.locator("input[name=place]").fill("joist 4 of 14")
    card.get_by_role("button", name="Store the finding").click()
    expect(card.locator(".wrong")).to_have_count(2)
    expect(card.locator("textarea[name=text]")).to_be_focused()
    assert card.locator("[aria-invalid=true]").evaluate_all("all => all.map((one) => one.name)") == [
        "text",
        "tier",
    ]
    assert visitor.axe() == []
    card.locator("textarea").fill("It bounces.")
    card.locator("select[name=tier]").select_option("watch")
    expect(card.locator(".wrong")).to_have_count(0)
    card.get_by_role("button", name="Store the finding").click()
    expect(page.locator(".told")).to_contain_text("The finding is stored.")
    assert [(row.text, row.place) for row in queries.findings(library, "D-17")] == [
        ("It bounces.", "joist 4 of 14")
    ]
    page = visitor.go("/l/library/work")
    page.locator("summary", has_text="Issue it").click()
    page.locator("input[name=issue]").check()
    page.locator("input[name=scope]").fill("All decks.")
    page.get_by_role("button", name="Write the report").click()
    expect(page.locator(".wrong")).to_have_count(2)  # limits and weather; the server sees them
    expect(page.locator("input[name=scope]")).to_have_value("All decks.")
    visitor.faults.clear()  # the browser notes the refusal itself


def boxes(page, what):
    return [one.bounding_box() for one in page.locator(what).all() if one.is_visible()]


def apart(one, other):
    return (
        one["x"] + one["width"] <= other["x"] + 1
        or other["x"] + other["width"] <= one["x"] + 1
        or one["y"] + one["height"] <= other["y"] + 1
        or other["y"] + other["height"] <= one["y"] + 1
    )


def test_on_a_phone_what_is_told_never_covers_the_photo(browser, running, library):
    visitor = Visitor(browser, running, "ann", size=(390, 844))
    sha = queries.photos(library, "D-17")[0].sha
    page = visitor.go(f"/l/library/photo/{sha}?tag=missing-hanger")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    for down in (0, 150):
        page.evaluate("down => scrollTo(0, down)", down)
        page.locator("#frame").focus()
        page.keyboard.press("Backspace")
        told = page.locator("#said p").last
        expect(told).to_contain_text("There is no mark of yours")
        for photo in boxes(page, "#frame"):
            assert apart(told.bounding_box(), photo)
        expect(page.locator("#said p")).to_have_count(0)
    page = visitor.go("/l/library/deck?d=D-17")
    page.locator(".pick input").first.check()
    page.locator("[data-part=hanger]").click()
    told = page.locator("#said p").last
    expect(told).to_contain_text("shows the hanger")
    [panel], bar = boxes(page, "#panel"), told.bounding_box()
    assert panel["y"] - 1 <= bar["y"]
    assert bar["y"] + bar["height"] <= 845
    visitor.close()


def test_forms_that_send_files_say_every_wrong_thing_at_its_field_and_keep_what_was_entered(
    visitor, library, tmp_path
):
    page = visitor.go("/")
    page.click("text=From a backup")
    page.fill("#restore input[name=library]", "?")
    page.click("#restore button")
    assert page.locator("#restore .wrong").count() == 2
    page.fill("#restore input[name=library]", "again")
    (tmp_path / "no.backup").write_bytes(b"no backup")
    page.set_input_files("#restore input[type=file]", tmp_path / "no.backup")
    page.click("#restore button")
    expect(page.locator("#restore .wrong")).to_contain_text("This file")
    assert page.input_value("#restore input[name=library]") == "again"

    page = visitor.go("/l/library/files")
    page.click("#list button.main")
    expect(page.locator("#list .wrong")).to_have_text("Choose a file.")
    for name in ("labels.txt", "names.txt"):
        (tmp_path / name).write_text("nothing")
    page.click("#for-labels summary")
    page.set_input_files("#sheet", tmp_path / "labels.txt")
    page.set_input_files("#mapping", tmp_path / "names.txt")
    page.click("#list button.main")
    expect(page.locator("#list .wrong")).to_have_count(2)
    assert page.locator("#sheet").evaluate("one => one.files[0].name") == "labels.txt"
    visitor.faults = [one for one in visitor.faults if "400" not in one]  # the refusals that were asked for
