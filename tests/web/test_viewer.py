"""One viewer over the photos of any page, and what it does by key, mouse and finger."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from triage.ingest import ingest
from triage.library import queries
from triage.web.wording import in_words

pytestmark = pytest.mark.browser


def shown(page):
    frame = page.locator(".closer .frame").first
    expect(frame).to_have_attribute("data-state", "drawn")
    return frame


def scale(page, frame="#frame"):
    return page.locator(f"{frame} .paper").first.evaluate("one => one.getBoundingClientRect().width")


def test_the_viewer_opens_over_the_sheet_by_click_and_by_enter(visitor, library):
    page = visitor.go("/l/library/deck?d=D-17")
    page.locator("[data-view-photo]").nth(1).click()
    shown(page)
    expect(page.locator(".closer .grow").first).to_contain_text("2 of 3")
    page.keyboard.press("n")
    expect(page.locator(".closer .grow").first).to_contain_text("3 of 3")
    page.keyboard.press("?")
    expect(page.locator("dialog.sheetlike")).to_contain_text("1:1, every pixel, at the cursor")
    assert visitor.axe() == []
    page.keyboard.press("Escape")
    expect(page.locator("dialog.sheetlike")).to_have_count(0)
    page.keyboard.press("Escape")
    expect(page.locator(".closer")).not_to_be_visible()
    page.locator(".pick input").first.focus()
    page.keyboard.press("Enter")
    shown(page)
    expect(page.locator(".closer .grow").first).to_contain_text("1 of 3")


def test_the_viewer_over_a_summary_answers_and_marks_for_the_concern(visitor, library):
    one, two, three = queries.photos(library, "D-17")
    for photo in (one, two):
        library.say("label", {"photo": photo.sha, "tag": "missing-hanger", "value": "present"}, by="ben")
    page = visitor.go("/l/library/deck/summary?d=D-17")
    page.locator("a.shot[data-view]").first.click()
    shown(page)
    expect(page.locator(".closer .asked").first).to_have_text("Missing hanger?")
    page.keyboard.press("c")
    visitor.said("ben said yes")
    expect(page.locator(".closer .grow").first).to_contain_text("2 of 2")
    said = {(row.by, row.value) for row in queries.labels(library, tag="missing-hanger")}
    assert said == {("ben", "present"), ("ann", "unclear")}
    assert three.sha not in {row.photo for row in queries.labels(library)}


@pytest.fixture
def large(library, photo_maker, tmp_path):
    for number in range(2):
        photo_maker(tmp_path / "large" / "L" / f"{number}.jpg", seed=60 + number, size=(2400, 1600))
    ingest(library, [tmp_path / "large"], by="ann", engine="here")
    return queries.photos(library, "L")


def test_zoom_and_place_stay_from_photo_to_photo_and_drag_pans(visitor, library, large):
    page = visitor.go(f"/l/library/photo/{large[0].sha}")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    whole = scale(page)
    for _ in range(3):
        page.keyboard.press("+")
    box = page.locator("#frame").bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 300)
    page.mouse.down()
    page.mouse.move(box["x"] + 200, box["y"] + 250, steps=4)
    page.mouse.up()
    where = page.locator("#paper").evaluate("one => one.style.transform")
    assert scale(page) > 2 * whole
    page.keyboard.press("n")
    expect(page.locator("#where")).to_contain_text("2 of 2")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    numbers = [
        float(part) for part in _numbers(page.locator("#paper").evaluate("one => one.style.transform"))
    ]
    assert numbers == pytest.approx([float(part) for part in _numbers(where)], abs=1.5)
    assert queries.labels(library) == [], "a drag marks nothing outside the mark mode"


def _numbers(transform):
    import re

    return re.findall(r"-?\d+\.?\d*", transform)[:3]


def test_one_to_one_at_the_cursor(visitor, library, large):
    page = visitor.go(f"/l/library/photo/{large[0].sha}")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    box = page.locator("#paper").bounding_box()
    at = (box["x"] + 0.8 * box["width"], box["y"] + 0.7 * box["height"])
    page.mouse.move(*at)
    page.keyboard.press("f")
    now = page.locator("#paper").bounding_box()
    assert now["width"] == pytest.approx(2400, abs=2)
    assert (at[0] - now["x"]) / now["width"] == pytest.approx(0.8, abs=0.01)
    assert (at[1] - now["y"]) / now["height"] == pytest.approx(0.7, abs=0.01)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_mark_on_a_turned_photo_lies_where_it_is_in_the_upright_one(visitor, library, large, turns):
    page = visitor.go(f"/l/library/photo/{large[0].sha}?tag=missing-hanger")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    for _ in range(turns):
        page.keyboard.press("r")
    page.keyboard.press("k")
    box = page.locator("#paper").bounding_box()
    page.mouse.click(box["x"] + 0.2 * box["width"], box["y"] + 0.3 * box["height"])
    expect(page.locator("#question")).to_contain_text("1 marked and saved")
    upright = {1: (0.3, 0.8), 2: (0.8, 0.7), 3: (0.7, 0.2)}[turns]
    assert queries.labels(library)[0].boxes[0][:2] == pytest.approx(upright, abs=0.01)


def test_two_photos_beside_each_other_are_zoomed_together(visitor, library, large):
    page = visitor.go(f"/l/library/photo/{large[0].sha}")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    page.keyboard.press("s")
    second = page.locator(".besideframe .frame")
    expect(second).to_have_attribute("data-state", "drawn")
    page.locator("#frame").focus()
    before = scale(page, ".besideframe")
    page.keyboard.press("+")
    page.keyboard.press("+")
    assert scale(page, ".besideframe") == pytest.approx(2.25 * before, rel=0.03)
    assert visitor.axe() == []


@pytest.fixture
def finger(browser, running, visitor):
    """A phone's page of the same person, and a way to put fingers on it."""
    context = browser.new_context(
        has_touch=True, viewport={"width": 390, "height": 844}, storage_state=visitor.context.storage_state()
    )
    page = context.new_page()
    client = context.new_cdp_session(page)

    def touch(*rows):
        """Put fingers down at the first row of points, move them through the others, lift them."""
        for kind, points in zip(["touchStart", *["touchMove"] * (len(rows) - 1)], rows, strict=True):
            client.send(
                "Input.dispatchTouchEvent",
                {"type": kind, "touchPoints": [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(points)]},
            )
        client.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    yield page, touch, f"http://127.0.0.1:{running.port}/l/library"
    context.close()


def test_on_a_touch_screen_a_swipe_marks_nothing_a_tap_marks_and_a_mark_is_moved_and_deleted(finger, library):
    page, touch, base = finger
    page.goto(f"{base}/photo/{queries.photos(library, 'D-17')[0].sha}?tag=missing-hanger")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    page.locator("#mark-toggle").tap()
    box = page.locator("#paper").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch(*[[(x, y - 20 * step)] for step in range(6)])
    page.wait_for_timeout(300)
    assert queries.labels(library) == []
    page.evaluate("scrollTo(0, 0)")
    box = page.locator("#paper").bounding_box()
    page.touchscreen.tap(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
    expect(page.locator("#question")).to_contain_text("1 marked and saved")
    page.evaluate("scrollTo(0, 0)")
    box = page.locator("#paper").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.touchscreen.tap(x, y)  # chooses it
    expect(page.locator(".mark.chosen")).to_have_count(1)
    touch(*[[(x + 12 * step, y)] for step in range(6)])
    page.wait_for_timeout(350)  # sooner after another touch the browser takes a tap for half of a double tap
    page.locator("#rubber").tap()
    expect(page.locator("#rubber")).to_be_hidden()
    for _ in range(400):
        page.wait_for_timeout(50)
        if not queries.labels(library)[0].boxes:
            break
    assert queries.labels(library)[0].boxes == ()


def test_two_fingers_zoom_the_photo_and_not_the_page(finger, library, large):
    page, touch, base = finger
    for where, frame in (
        (f"{base}/photo/{large[0].sha}", "#frame"),
        (f"{base}/deck?d=L", ".closer .frame"),
    ):
        page.goto(where)
        if frame != "#frame":
            page.locator("[data-view-photo]").first.tap()
        expect(page.locator(frame).first).to_have_attribute("data-state", "drawn")
        whole = scale(page, frame)
        box = page.locator(frame).first.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        touch(*[[(x - 30 - 10 * step, y), (x + 30 + 10 * step, y)] for step in range(7)])
        assert scale(page, frame) == pytest.approx(3 * whole, rel=0.1)
        assert page.evaluate("visualViewport.scale") == 1
    assert queries.labels(library) == []


def test_any_tag_is_added_to_a_photo_by_typing(visitor, library):
    sha = queries.photos(library, "D-17")[0].sha
    tag = next(one for one in library.vocabulary().defects if one not in library.vocabulary().core)
    page = visitor.go(f"/l/library/photo/{sha}")
    page.keyboard.press("t")
    page.keyboard.type(tag.replace("-", " "))
    page.keyboard.press("Enter")
    expect(page.locator("#question h2")).to_contain_text(tag.split("-")[0].capitalize())
    page.locator("#frame").focus()
    page.keyboard.press("p")
    expect(page.locator(".questions button", has_text=tag.replace("-", " ").capitalize())).to_contain_text(
        "yes"
    )
    expect(page.locator("#question h2")).to_have_text("Missing hanger?")  # saved, so the page went on
    assert [(row.tag, row.value) for row in queries.labels(library)] == [(tag, "present")]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("concern 'rusted-connector' is new.", "concern “rusted connector” is new."),
        ("shows-ledger: absent", "shows the ledger: no"),
        ("the photo my-missing-hanger.jpg is kept", "the photo my-missing-hanger.jpg is kept"),
        ("deck D-17 has 'watch'", "deck D-17 has 'watch'"),
    ],
)
def test_keys_become_words(said, words):
    assert in_words(said) == words
