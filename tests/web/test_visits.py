"""Two visits side by side, and a concern closed with its photos before and after: as the commands have it."""

from __future__ import annotations

import html
import re

import pytest
from playwright.sync_api import expect

from triage.assess.compare import compare
from triage.ingest import ingest
from triage.library import queries


@pytest.fixture
def second_visit(library, photo_maker, tmp_path):
    """Deck D-17 seen again in September: a missing hanger of May, and a photo of the hanger that was set."""
    for number in range(2):
        photo_maker(tmp_path / "again" / "D-17" / f"IMG_090{number}.jpg", seed=900 + number)
    ingest(library, [tmp_path / "again" / "D-17"], by="ben", deck="D-17", visit="2026-09-01", engine="here")
    may, september = queries.photos(library, "D-17")[0], queries.photos(library, "D-17", "2026-09-01")[0]
    for photo, value in ((may, "present"), (september, "absent")):
        library.say(
            "label",
            {"photo": photo.sha, "tag": "missing-hanger", "value": value},
            by="ann",
            private={"place": "joist 4"} if value == "present" else None,
        )
    shows = {"photo": september.sha, "tag": "shows-hanger", "value": "present"}
    library.say("label", shows, by="ann")
    return may, september


def test_page_compares_as_the_command_does(page, library, second_visit):
    found = compare(library, "D-17")
    assert found.concerns, "the test needs something to compare"
    text = html.unescape(page.get("/l/library/deck/compare", d="D-17").text)
    for row in found.concerns:
        assert row.concluded in text
        assert row.change.capitalize() in text
    assert f"thumb/{second_visit[0].sha}" in text
    same = page.get("/l/library/deck/compare", d="D-17", first="2026-05-04", second="2026-05-04")
    assert same.status == 400
    assert "Both visits are the same" in same.text


def test_one_visit_has_nothing_beside_it(page):
    assert "one visit only" in page.get("/l/library/deck/compare", d="D-18").text


@pytest.mark.browser
def test_concern_is_closed_side_by_side_by_mouse(visitor, library, second_visit):
    page = visitor.go("/l/library/deck/summary?d=D-17")
    page.locator("text=Close it after the repair").first.click()
    may, september = second_visit
    assert may.sha in page.locator("[data-big=before] img").get_attribute("src")
    expect(page.locator("[data-big=after] img")).to_be_hidden()
    page.locator(f"input[name=after][value='{september.sha}']").click()
    expect(page.locator("[data-big=after] img")).to_have_attribute("src", re.compile(september.sha))
    assert visitor.axe() == []
    page.fill("input[name=place]", "joist 4")
    page.fill("input[name=why]", "hanger set, every hole nailed")
    page.check("input[name=same_place]")
    page.click("text=Close it under my name")
    expect(page.locator(".told")).to_contain_text("closed")
    (closing,) = queries.closings(library, "D-17")
    assert (closing.before, closing.after, closing.by) == (may.sha, september.sha, "ann")
    page = visitor.go("/l/library/deck/compare?d=D-17")
    expect(page.locator(".compared")).to_contain_text("Better")
    assert visitor.axe() == []


@pytest.mark.browser
def test_photos_after_are_put_in_order_of_the_likeliest_place_and_none_is_chosen(
    visitor, library, second_visit
):
    from triage.matching import propose_places

    may, _ = second_visit
    page = visitor.go("/l/library/deck/summary?d=D-17")
    page.locator("text=Close it after the repair").first.click()
    with page.expect_navigation():
        page.click("#likely")
    found = propose_places(library, "D-17", may, limit=50)
    shown = [one.get_attribute("value") for one in page.locator("input[name=after]").all()]
    assert shown[: len(found)] == [one.photo.sha for one in found]
    expect(
        page.locator(".choice", has=page.locator(f"input[value='{shown[0]}'][name=after]"))
    ).to_contain_text(found[0].why)
    assert page.locator("input[name=after]:checked").count() == 0
    assert page.locator("input[name=before]:checked").get_attribute("value") == may.sha
    assert visitor.axe() == []
    other = page.locator("input[name=before]:not(:checked)").first.get_attribute("value")
    page.check(f"input[name=before][value='{other}']")
    assert f"likely={other}" in page.locator("#likely").get_attribute("href")
    assert queries.closings(library, "D-17") == []


def test_a_photo_of_another_deck_is_no_photo_before(page, library, second_visit):
    foreign = queries.photos(library, "D-18")[0].sha
    row = compare(library, "D-17").concerns[0]
    found = page.get(
        "/l/library/deck/closing", d="D-17", rule=row.rule, place=row.place or "", likely=foreign
    )
    assert found.status == 400
    assert "not of this deck" in found.text


def test_photos_without_a_day_are_a_visit_of_their_own_until_somebody_sets_it(
    page, library, photo_maker, tmp_path
):
    photo_maker(tmp_path / "old" / "D-17" / "scan.jpg", seed=950)
    ingest(library, [tmp_path / "old" / "D-17"], by="ben", deck="D-17", engine="here")
    text = page.get("/l/library/deck/compare", d="D-17").text
    assert "No known day</option>" in text
    assert "The photos without a day were taken on" in text
    done = page.form("/l/library/timeline/act", how="visit", deck="D-17", before="", visit="2026-09-01")
    assert done.status == 303
    assert queries.visits(library, "D-17") == ["2026-05-04", "2026-09-01"]
    text = page.get("/l/library/deck/compare", d="D-17").text
    assert "No known day</option>" not in text
    page.json("/l/library/undo", {})
    assert queries.visits(library, "D-17") == [None, "2026-05-04"]
