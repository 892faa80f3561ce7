"""A contact sheet across decks in a real browser: looked at, changed by clicks, confirmed in one act."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from triage.library import queries
from triage.library.records import SHEET, Suggestion
from triage.library.suggestions import keep_suggestions

pytestmark = pytest.mark.browser

LEDGER = "shows-ledger"
SMALL = """document.addEventListener('DOMContentLoaded', () =>
  document.querySelectorAll('.tiles').forEach((one) => one.style.setProperty('--tile', '60px')))"""


def tiles_of_width(page, px):
    style = f"one.style.setProperty('--tile', '{px}px')"
    page.evaluate(f"document.querySelectorAll('.tiles').forEach((one) => {style})")


def test_the_sheet_across_decks_by_the_mouse(visitor, library):
    """What was not on the screen is not answered; then two doubtful ones by one click, and one exception."""
    library.say("trained", {"model": "m"}, by="ann")
    photos = queries.photos(library)
    chances = dict(zip([photo.sha for photo in photos], (0.9, 0.3, 0.2, 0.8, 0.05, 0.02), strict=True))
    keep_suggestions(
        library, [Suggestion(sha, LEDGER, "m", 0.0, chance, "unsure") for sha, chance in chances.items()]
    )
    page = visitor.go("/l/library/")
    page.add_init_script(SMALL)  # before any tile can be seen at a size that counts
    page.get_by_role("link", name="Confirm the parts that the machine proposes").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Does the photo show the ledger?")
    tiles = page.locator(".lookat")
    assert tiles.count() == len(photos) == 6
    assert set(page.locator(".tiledeck bdi").all_inner_texts()) == {"D-17", "D-18"}
    assert visitor.axe() == []
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.set_viewport_size({"width": 1280, "height": 800})
    confirm = page.get_by_role("button", name="Looked at all 6: confirm")
    confirm.click()
    visitor.said("too small to judge")
    assert queries.labels(library) == []
    tiles_of_width(page, 220)
    page.get_by_role("button", name="All of these: no").click()
    expect(page.locator("#tally")).to_have_text("2 changed")
    last = page.locator('[data-group="no"] .lookat').last
    last.get_by_role("button", name="Yes").click()
    for tile in tiles.all():
        tile.scroll_into_view_if_needed()
        expect(tile.locator(".seenmark")).to_have_text("seen")
    confirm.click()
    page.wait_for_url(lambda url: "proposals" not in url)
    said = {label.photo: label.value for label in queries.labels(library)}
    assert sorted(said.values()) == ["absent"] * 3 + ["present"] * 3
    assert {label.asked_by for label in queries.labels(library)} == {SHEET}
    assert said[min(chances, key=lambda sha: chances[sha])] == "present", "the exception"
