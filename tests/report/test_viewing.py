"""The viewer in a report: the file opened by itself, as whoever was sent it opens it."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from report_made import busy_deck, made

from tests.web.browsing import axe_faults, launched
from triage.report.source import Options
from triage.report.write import make_pack

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    one = made(busy_deck(), busy_deck("cedar-04"))
    files = make_pack(one.summaries, one.source, Options(per_deck=True, full=True))
    folder = tmp_path_factory.mktemp("report")
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder


@pytest.fixture(scope="module")
def browser():
    with launched() as one:
        yield one


@pytest.fixture
def page(browser, report):
    context = browser.new_context(viewport={"width": 1280, "height": 800}, offline=True)
    one = context.new_page()
    faults = []
    one.on("pageerror", lambda error: faults.append(str(error)))
    one.on("console", lambda said: faults.append(said.text) if said.type in ("error", "warning") else None)
    one.goto((report / "report.html").as_uri())
    yield one
    context.close()
    assert faults == []


def width(page):
    return page.locator(".closer .paper").first.evaluate("one => one.getBoundingClientRect().width")


def test_photos_of_a_report_open_in_the_viewer_without_a_server(page, report):
    first = page.locator("section.owner .photo").first
    first.focus()
    page.keyboard.press("Enter")
    frame = page.locator(".closer .frame").first
    expect(frame).to_have_attribute("data-state", "drawn")
    expect(page.locator(".closer .grow").first).to_contain_text("1 of ")
    expect(page.locator(".closer .frame > svg .mark.mine")).to_have_count(1)
    whole = width(page)
    for _ in range(2):
        page.keyboard.press("+")
    assert width(page) == pytest.approx(2.25 * whole, rel=0.02)
    page.keyboard.press("n")
    expect(page.locator(".closer .grow").first).to_contain_text("2 of ")
    expect(frame).to_have_attribute("data-state", "drawn")
    assert width(page) > 2 * whole, "the zoom stays from photo to photo"
    page.keyboard.press("r")
    page.keyboard.press("s")
    expect(page.locator(".besideframe .frame")).to_have_attribute("data-state", "drawn")
    page.keyboard.press("Escape")
    expect(page.locator(".closer")).not_to_be_visible()
    expect(first).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("?")
    keys = page.locator("dialog.sheetlike")
    expect(keys).to_contain_text("zoomed together")
    expect(keys).not_to_contain_text("cannot tell")
    assert axe_faults(page) == []


def test_a_page_of_one_deck_shows_no_photo_of_another(page, report):
    page.goto(next(report.glob("deck-birch*.html")).as_uri())
    page.locator(".photo").first.click()
    expect(page.locator(".closer .frame").first).to_have_attribute("data-state", "drawn")
    options = page.locator(".closer select option")
    page.keyboard.press("s")
    assert "cedar" not in " ".join(options.all_inner_texts())
    assert "cedar-04" not in page.content()
