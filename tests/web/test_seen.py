"""Never an answer for what was not seen: marks, late pictures, fast keys, tiles too small to judge."""

from __future__ import annotations

import importlib
import io
import random
import time

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.web.browsing import Visitor, drawn
from triage.ingest import ingest
from triage.library import queries

pytestmark = pytest.mark.browser

OWN = (255, 210, 63)
"""The color of a person's own marks (#ffd23f)."""


def wait_until(so, seconds=120):
    ends = time.monotonic() + seconds
    while not so():
        assert time.monotonic() < ends
        time.sleep(0.05)


def go_early(visitor, where):
    """Go to a page without waiting for pictures that are held back."""
    visitor.page.goto(f"http://127.0.0.1:{visitor.running.port}{where}", wait_until="domcontentloaded")
    return visitor.page


def gray(path, size):
    """A plain gray photo, so that nothing but marks has their color."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.full((size[1], size[0], 3), 90, np.uint8)
    Image.fromarray(pixels).save(path, quality=80)
    return path


def widths_on_screen(page, frame, row_share=0.5):
    """Return the widths in screen pixels of the runs of the own marks' color on one row of the stage."""
    box = frame.bounding_box()
    shot = np.asarray(Image.open(io.BytesIO(page.screenshot(clip=box))).convert("RGB")).astype(int)
    row = shot[int(shot.shape[0] * row_share)]
    is_own = np.abs(row - np.array(OWN)).max(axis=1) < 40
    edges = np.flatnonzero(np.diff(np.concatenate([[0], is_own.astype(int), [0]])))
    return [int(end - start) for start, end in zip(edges[::2], edges[1::2], strict=True)]


@pytest.mark.parametrize("size", [(800, 600), (4000, 3000), (8000, 6000)])
def test_a_box_is_as_wide_on_the_screen_at_any_photo_size_and_zoom(visitor, library, tmp_path, size):
    gray(tmp_path / "sizes" / "S" / "one.jpg", size)
    ingest(library, [tmp_path / "sizes"], by="ann", engine="here")
    photo = queries.photos(library, "S")[0]
    library.say(
        "label",
        {"photo": photo.sha, "tag": "missing-hanger", "value": "present", "boxes": [[0.4, 0.4, 0.2, 0.2]]},
        by="ann",
    )
    page = visitor.go(f"/l/library/photo/{photo.sha}?tag=missing-hanger")
    frame = page.locator("#frame")
    expect(frame).to_have_attribute("data-state", "drawn")
    page.wait_for_timeout(200)
    whole = widths_on_screen(page, frame)
    assert len(whole) == 2, "both sides of the box are seen"
    assert all(2 <= width <= 4 for width in whole), whole
    page.keyboard.press("+")
    page.keyboard.press("+")
    page.wait_for_timeout(300)
    zoomed = widths_on_screen(page, frame)
    assert len(zoomed) == 2
    assert all(2 <= width <= 4 for width in zoomed), zoomed
    tile = visitor.go("/l/library/look?d=S&tag=missing-hanger").locator(".shotframe").first
    drawn(tile.locator("img"))
    page.wait_for_timeout(200)
    in_tile = widths_on_screen(page, tile)
    assert len(in_tile) == 2
    assert all(2 <= width <= 4 for width in in_tile), in_tile


def test_the_stage_is_blank_and_takes_no_answer_until_its_own_picture_is_there(visitor, library):
    first, second, third = queries.photos(library, "D-17")
    held = []
    visitor.page.route(f"**/picture/{second.sha}", lambda route: held.append(route))
    page = go_early(visitor, f"/l/library/photo/{first.sha}")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    page.keyboard.press("n")
    expect(page.locator("#where")).to_contain_text("2 of 3")
    expect(page.locator("#paper")).not_to_be_visible()
    page.keyboard.press("p")
    page.locator("#frame").click(force=True)
    expect(page.locator("#waiting")).to_contain_text("1 key waits")
    page.wait_for_timeout(400)
    assert queries.labels(library) == [], "nothing was answered unseen"
    for one in held:
        one.continue_()
    wait_until(lambda: len(queries.labels(library)) == 1)
    assert (queries.labels(library)[0].photo, queries.labels(library)[0].value) == (second.sha, "present")
    assert third.sha not in {label.photo for label in queries.labels(library)}


def test_escape_drops_the_keys_that_wait(visitor, library):
    first, second, _ = queries.photos(library, "D-17")
    held = []
    visitor.page.route(f"**/picture/{second.sha}", lambda route: held.append(route))
    page = go_early(visitor, f"/l/library/photo/{first.sha}")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    page.keyboard.press("n")
    expect(page.locator("#where")).to_contain_text("2 of 3")
    for key in "pac":
        page.keyboard.press(key)
    page.keyboard.press("Escape")
    visitor.said("Dropped 3 keys.")
    for one in held:
        one.continue_()
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    page.wait_for_timeout(500)
    assert queries.labels(library) == []


def test_a_picture_that_cannot_be_loaded_takes_no_answer(browser, running, library):
    visitor = Visitor(browser, running, "ann")
    first, second, _ = queries.photos(library, "D-17")
    visitor.page.route(f"**/picture/{second.sha}", lambda route: route.abort())
    page = visitor.go(f"/l/library/photo/{first.sha}")
    page.keyboard.press("n")
    expect(page.locator("#frame")).to_have_attribute("data-state", "failed")
    page.keyboard.press("a")
    visitor.said("could not be loaded")
    expect(page.locator("#frame button", has_text="Try again")).to_be_visible()
    visitor.page.unroute(f"**/picture/{second.sha}")
    page.click("#frame button")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    assert queries.labels(library) == []
    visitor.context.close()


@pytest.fixture
def many(library, tmp_path, request):
    """A deck with as many small photos as keys will be pressed."""
    count = getattr(request, "param", 24)
    for number in range(count):
        shade = np.full((60, 80, 3), number % 250, np.uint8)
        shade[number % 60, number % 80] = 255
        path = tmp_path / "many" / "M" / f"{number:03d}.jpg"
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.fromarray(shade).save(path, exif=_taken(number))
    ingest(library, [tmp_path / "many"], by="ann", engine="here")
    assert len(queries.photos(library, "M")) == count
    return library


def _taken(number):
    exif = Image.Exif()
    exif[0x9003] = exif[306] = f"2026:05:04 {9 + number // 60:02d}:{number % 60:02d}:00"
    return exif


def made_late(monkeypatch, where, lag_ms):
    """Let one function of the server take up to so long more."""
    module, name = where.rsplit(".", 1)
    real = getattr(importlib.import_module(module), name)

    def late(*args, **more):
        time.sleep(random.random() * lag_ms / 1000)
        return real(*args, **more)

    monkeypatch.setattr(where, late)


PATTERNS = {"no gap": (0, 0), "60 ms": (60, 0), "a slow server": (0, 200), "both, at random": (90, 120)}


@pytest.mark.parametrize("pattern", PATTERNS)
def test_every_key_answers_the_photo_that_was_asked_in_its_turn(visitor, many, pattern, monkeypatch):
    """The law: the n-th key answers the n-th question, whatever the gaps and the server's lag."""
    gap_ms, lag_ms = PATTERNS[pattern]
    dice = random.Random(pattern)
    for module, name in (("photo", "give_labels"), ("queue", "photo_of"), ("pictures", "rendition_of")):
        made_late(monkeypatch, f"triage.web.pages.{module}.{name}", lag_ms)
    page = visitor.go("/l/library/queue?order=taken&deck=M&tag=missing-hanger")
    asked = [photo.sha for photo in queries.photos(many, "M")]
    count = len(asked) if pattern != "both, at random" else len(asked) // 2
    keys = [dice.choice("pac") for _ in range(count)]
    for number, key in enumerate(keys):
        page.keyboard.press(key)
        if gap_ms:
            page.wait_for_timeout(dice.random() * 2 * gap_ms)
        if number % 30 == 29:  # forty keys may wait; more are refused, and said to be
            wait_until(lambda so_far=number: len(queries.labels(many, tag="missing-hanger")) > so_far - 8, 60)
    wait_until(lambda: len(queries.labels(many, tag="missing-hanger")) == count, 90)
    said = {label.photo: label.value for label in queries.labels(many, tag="missing-hanger")}
    words = {"p": "present", "a": "absent", "c": "unclear"}
    assert [said.get(sha) for sha in asked[:count]] == [words[key] for key in keys]
    if count == len(asked):
        expect(page.locator("main")).to_contain_text("Nothing is open here", timeout=20_000)


@pytest.mark.long
@pytest.mark.parametrize("many", [500], indirect=True)
def test_500_keys_over_any_gaps_and_lags_each_answer_their_own_photo(visitor, many, monkeypatch):
    """The law over gaps and lags drawn again at every run: bursts, pauses, a server slow for a while."""
    seed = random.randrange(2**32)
    dice = random.Random(seed)
    slow = {"ms": 0.0}
    for module, name in (("photo", "give_labels"), ("queue", "photo_of"), ("pictures", "rendition_of")):
        real = getattr(importlib.import_module(f"triage.web.pages.{module}"), name)

        def late(*args, real=real, **more):
            time.sleep(random.random() * slow["ms"] / 1000)
            return real(*args, **more)

        monkeypatch.setattr(f"triage.web.pages.{module}.{name}", late)
    page = visitor.go("/l/library/queue?order=taken&deck=M&tag=missing-hanger")
    asked = [photo.sha for photo in queries.photos(many, "M")]
    keys = [dice.choice("pac") for _ in asked]
    burst = 0
    for number, key in enumerate(keys):
        if burst == 0:
            burst = dice.choice([1, 1, 2, 3, 8, 25])
            page.wait_for_timeout(dice.choice([5, 40, 120, 400]))
            slow["ms"] = dice.choice([0.0, 0.0, 60.0, 300.0])
        burst -= 1
        page.keyboard.press(key)
        wait_until(lambda so_far=number: len(queries.labels(many, tag="missing-hanger")) > so_far - 30, 120)
    wait_until(lambda: len(queries.labels(many, tag="missing-hanger")) == len(keys), 120)
    said = {label.photo: label.value for label in queries.labels(many, tag="missing-hanger")}
    words = {"p": "present", "a": "absent", "c": "unclear"}
    assert [said.get(sha) for sha in asked] == [words[key] for key in keys], f"seed {seed}"


def test_acacac_without_a_gap_answers_six_photos(visitor, many):
    page = visitor.go("/l/library/queue?order=taken&deck=M&tag=missing-hanger")
    page.evaluate(
        """() => { for (const key of "acacac")
             document.body.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true })); }"""
    )
    wait_until(lambda: len(queries.labels(many, tag="missing-hanger")) == 6)
    said = {label.photo: label.value for label in queries.labels(many, tag="missing-hanger")}
    assert [said.get(photo.sha) for photo in queries.photos(many, "M")[:6]] == ["absent", "unclear"] * 3


def test_a_tile_too_small_to_judge_is_not_seen_and_says_so(visitor, library):
    page = visitor.go("/l/library/look?d=D-17&tag=missing-hanger")
    tiles = page.locator(".lookat")
    page.locator("#tilesize").fill("120")
    page.evaluate("scrollTo(0, 0)")
    page.reload()
    expect(page.locator(".seenmark").first).to_have_text("too small to judge")
    page.wait_for_timeout(1500)
    assert page.locator('.lookat[data-seen="yes"]').count() == 0
    page.click("[data-looked=all]")
    visitor.said("drawn too small to judge")
    assert queries.labels(library) == []
    page.locator("#tilesize").fill("400")
    for tile in tiles.all():
        tile.scroll_into_view_if_needed()
        expect(tile).to_have_attribute("data-seen", "yes")
        expect(tile.locator(".seenmark")).to_have_text("seen")
    with page.expect_navigation():
        page.click("[data-looked=all]")
    assert len(queries.labels(library)) == 3


def test_five_tiles_are_not_looked_at_in_a_second(visitor, library, photo_maker, tmp_path):
    for number in range(5):
        photo_maker(tmp_path / "five" / "F" / f"{number}.jpg", seed=900 + number)
    ingest(library, [tmp_path / "five"], by="ann", engine="here")
    page = visitor.go("/l/library/deck?d=F")
    for tile in page.locator(".tile img").all():
        drawn(tile)
    started = page.evaluate("performance.now()")
    expect(page.locator('.tile[data-seen="yes"]')).to_have_count(5)
    assert page.evaluate("performance.now()") - started > 900, "each photo has its own look"


def test_a_photo_opened_large_counts_as_seen(visitor, library):
    page = visitor.go("/l/library/deck?d=D-17")
    page.locator("#tilesize").fill("120")
    page.locator("[data-view-photo]").first.click()
    expect(page.locator(".closer .frame").first).to_have_attribute("data-state", "drawn")
    expect(page.locator(".tile").first).to_have_attribute("data-seen", "yes")
    page.keyboard.press("n")
    page.keyboard.press("n")
    page.keyboard.press("Escape")
    page.wait_for_timeout(600)
    assert page.locator('.tile[data-seen="yes"]').count() < 3, "flicked past is not looked at"
