"""The whole line by mouse, and labeling by keyboard, in a real browser."""

from __future__ import annotations

import re
import time

import pytest
from playwright.sync_api import expect

from tests.web.browsing import Visitor, drawn
from triage.library import Library, queries
from triage.web.server import Running

pytestmark = pytest.mark.browser


def four_decks(folder, photo_maker):
    """A card with four decks of four photos; `missing` is drawn as a bright spot at one place."""
    from PIL import Image, ImageDraw

    for deck in range(4):
        for number in range(4):
            path = photo_maker(
                folder / f"D-0{deck}" / f"IMG_{number}.jpg",
                seed=100 * deck + number,
                exif={"taken_at": f"2026:05:0{deck + 1} 10:0{number}:00"},
            )
            if number < 2:
                picture = Image.open(path)
                exif = picture.getexif()
                ImageDraw.Draw(picture).rectangle([200, 60, 280, 140], fill=(250, 40, 40))
                picture.save(path, quality=92, exif=exif)
    return folder


def test_whole_line_by_mouse(browser, tmp_path, photo_maker):
    card = four_decks(tmp_path / "card", photo_maker)
    with Running(tmp_path / "home") as running:
        one = Visitor(browser, running)
        page = one.page
        page.fill("main .who input[name=name]", "ann")
        with page.expect_navigation():
            page.click("main .who button")
        page.fill("input[name=library]", "season-2026")
        with page.expect_navigation():
            page.click("text=Make it")
        add_folder(page, card)
        page.click("text=To the decks")
        page.locator(".decks tbody tr").nth(3).wait_for()
        for deck in range(4):
            answer_deck(one, f"D-0{deck}", first=deck == 0)
        one.go("/l/season-2026/deck/facts?d=D-00")
        page.fill("#f-height_above_grade_ft", "9 ft")
        with page.expect_navigation():
            page.click("text=Store the facts >> nth=0")
        expect(page.locator(".told")).to_contain_text("1 fact stored")
        page.click("text=Findings and acts")
        page.fill("textarea[name=text]", "the ledger moves when pushed")
        page.select_option("#finding-tier", "stop-use")
        with page.expect_navigation():
            page.click("text=Store the finding")
        train(page)
        one.go("/l/season-2026/")
        first = page.locator(".decks tbody tr").first
        expect(first).to_contain_text("D-00")
        expect(first).to_contain_text("stop use")
        report(page)
        with Library.open(tmp_path / "home" / "season-2026") as library:
            check_line(library)
        one.close()


def add_folder(page, card):
    page.click("text=Add photos >> nth=0")
    page.set_input_files("#folder", str(card))
    expect(page.locator("#came")).to_contain_text("16 photos taken in", timeout=240_000)


def answer_deck(one, deck, *, first):
    page = one.go(f"/l/season-2026/deck?d={deck}")
    pictures = page.locator(".pick img")
    pictures.nth(0).click()
    pictures.nth(3).click(modifiers=["Shift"])
    expect(page.locator("#chosen")).to_have_text("4 chosen.")
    page.click("[data-part=hanger]")
    one.said("4 photos show the hanger.")
    look_at(page.locator(".tile"))
    page.click("[data-rest]")
    expect(page.locator(".told")).to_contain_text("Looked at all 4")
    page.click(".steps >> text=Missing hanger")
    tiles = page.locator(".lookat")
    for number in range(2):
        tiles.nth(number).scroll_into_view_if_needed()
        box = tiles.nth(number).locator(".shotframe").bounding_box()
        tiles.nth(number).locator(".shotframe").click(
            position={"x": box["width"] * 240 / 320, "y": box["height"] * 100 / 240}
        )
    expect(page.locator("#tally")).to_contain_text("2 yes, the other 2 will be answered no")
    look_at(tiles)
    with page.expect_navigation():
        page.click("[data-looked=all]")


def look_at(tiles):
    """Bring every tile onto the screen for a moment, as somebody who scrolls through does."""
    for tile in tiles.all():
        tile.scroll_into_view_if_needed()
        expect(tile).to_have_attribute("data-seen", "yes")


def train(page):
    page.click("text=Train, report")
    page.click("text=Train and suggest")
    expect(page.locator(".joblist li").first).to_contain_text(
        "Suggestions made for 16 photos", timeout=240_000
    )
    page.click("text=What the model can do")
    expect(page.locator("main")).to_contain_text("Missing hanger")
    expect(page.locator("main")).to_contain_text("over decks that it did not see")


def report(page):
    page.click("text=Train, report")
    page.click("button:has-text('Write the report')")
    expect(page.locator(".joblist li").first).to_contain_text("written", timeout=240_000)
    with page.expect_navigation():
        page.click("text=Open the report >> nth=0")
    expect(page.locator("body")).to_contain_text("the ledger moves when pushed")


def check_line(library):
    labels = [label for label in queries.labels(library, tag="missing-hanger")]
    assert sum(label.value == "present" for label in labels) == 8
    assert sum(label.value == "absent" for label in labels) == 8
    for label in labels:
        if label.value == "present":
            (box,) = label.boxes
            assert box == pytest.approx((240 / 320, 100 / 240, 0, 0), abs=0.01)
    assert queries.facts(library, "D-00")["height_above_grade_ft"].value == 9.0
    assert queries.model_in_use(library) is not None
    assert len(queries.suggestions(library, tag="missing-hanger")) == 16


def test_labeling_by_keyboard(visitor, library):
    photos = queries.photos(library, "D-17")
    page = visitor.go(f"/l/library/photo/{photos[0].sha}")
    expect(page.locator("#question h2")).to_have_text("Missing hanger?")
    page.keyboard.press("g")
    page.keyboard.press("c")
    page.keyboard.press("4")
    expect(page.locator("#question")).to_contain_text("1 marked and saved")
    page.keyboard.press("p")
    expect(page.locator("#question h2")).to_have_text("Rusted connector?")
    for key in "aaca":
        page.keyboard.press(key)
    expect(page.locator("#where")).to_contain_text("2 of 3")
    for key in "aaaaa":
        page.keyboard.press(key)
    expect(page.locator("#where")).to_contain_text("3 of 3")
    wait_for_labels(library, 10)
    rows = {(label.photo, label.tag): label for label in queries.labels(library)}
    core = library.vocabulary().core
    first = [rows[photos[0].sha, tag].value for tag in core]
    assert first == ["present", "absent", "absent", "unclear", "absent"]
    assert rows[photos[0].sha, core[0]].boxes == ((2 / 8, 3 / 6, 1 / 8, 1 / 6),)
    assert {label.by for label in rows.values()} == {"ann"}
    assert not any(label.saw_machine for label in rows.values())


def wait_until(so):
    ends = time.monotonic() + 10
    while not so():
        assert time.monotonic() < ends
        time.sleep(0.05)


def wait_for_labels(library, count):
    wait_until(lambda: len(queries.labels(library)) == count)


def test_fast_keys_never_overtake_each_other(visitor, library):
    photo = queries.photos(library, "D-17")[0]
    page = visitor.go(f"/l/library/photo/{photo.sha}")
    page.evaluate(
        """() => { for (const key of "pacap")
             document.body.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true })); }"""
    )
    wait_for_labels(library, 5)
    values = {label.tag: label.value for label in queries.labels(library)}
    expected = ["present", "absent", "unclear", "absent", "present"]
    assert [values[tag] for tag in library.vocabulary().core] == expected


def test_undo_by_keyboard_reverts_one_act_after_the_other(visitor, library):
    photo = queries.photos(library, "D-17")[0]
    page = visitor.go(f"/l/library/photo/{photo.sha}")
    for key in "pa":
        page.keyboard.press(key)
    wait_for_labels(library, 2)
    page.keyboard.press("u")
    visitor.said("Took back: rusted connector: no.")
    expect(page.locator("#question h2")).to_have_text("Rusted connector?")
    page.keyboard.press("u")
    visitor.said("Took back: missing hanger: yes.")
    assert queries.labels(library) == []
    expect(page.locator("#history")).to_contain_text("taken back")


def test_click_marks_the_spot_also_when_zoomed_and_turned(visitor, library, photo_maker, tmp_path):
    from triage.ingest import ingest

    photo_maker(tmp_path / "turned" / "T" / "side.jpg", seed=3, size=(1200, 800), exif={0x0112: 6})
    ingest(library, [tmp_path / "turned"], by="ann", engine="here")
    photo = queries.photos(library, "T")[0]
    assert (photo.width, photo.height) == (800, 1200)
    page = visitor.go(f"/l/library/photo/{photo.sha}")
    frame = page.locator("#frame")
    drawn(page.locator("#picture"))
    page.keyboard.press("k")
    click_at(page, 0.25, 0.75)
    expect(page.locator("#question")).to_contain_text("1 marked and saved")
    frame.hover()
    whole = page.locator("#paper").bounding_box()["width"]
    page.mouse.wheel(0, -700)
    wait_until(lambda: page.locator("#paper").bounding_box()["width"] > 1.5 * whole)
    click_at(page, 0.5, 0.5)
    expect(page.locator("#question")).to_contain_text("2 marked and saved")
    page.keyboard.press("p")
    wait_for_labels(library, 1)
    one, two = queries.labels(library)[0].boxes
    assert one == pytest.approx((0.25, 0.75, 0, 0), abs=0.005)
    assert two == pytest.approx((0.5, 0.5, 0, 0), abs=0.005)


def click_at(page, across, down):
    box = page.locator("#paper").evaluate(
        "paper => { const b = paper.getBoundingClientRect(); return [b.x, b.y, b.width, b.height]; }"
    )
    page.mouse.click(box[0] + across * box[2], box[1] + down * box[3])


def test_drag_marks_a_box_and_backspace_takes_it_away(visitor, library):
    page = visitor.go(f"/l/library/photo/{queries.photos(library, 'D-17')[0].sha}")
    drawn(page.locator("#picture"))
    page.keyboard.press("k")
    box = page.locator("#paper").bounding_box()
    page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + 0.3 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 0.5 * box["height"], steps=4)
    page.mouse.up()
    click_at(page, 0.9, 0.9)
    expect(page.locator("#question")).to_contain_text("2 marked and saved")
    page.keyboard.press("Backspace")
    expect(page.locator("#question")).to_contain_text("1 marked and saved")
    page.keyboard.press("p")
    wait_for_labels(library, 1)
    assert queries.labels(library)[0].boxes[0] == pytest.approx((0.2, 0.3, 0.4, 0.2), abs=0.006)


def test_enter_after_a_click_on_an_answer_does_not_answer_again(visitor, library):
    page = visitor.go(f"/l/library/photo/{queries.photos(library, 'D-17')[0].sha}")
    page.click("[data-answer=absent]")
    expect(page.locator("#question h2")).to_have_text("Rusted connector?")
    page.keyboard.press("Enter")
    visitor.said("The machine has no place here.")
    assert len(queries.labels(library)) == 1


def test_two_reviewers_both_rows_stay_and_the_second_is_told(browser, running, library):
    photo = queries.photos(library, "D-17")[0]
    ann, ben = Visitor(browser, running, "ann"), Visitor(browser, running, "ben")
    for one in (ann, ben):
        one.go(f"/l/library/photo/{photo.sha}")
    ann.page.keyboard.press("p")
    wait_for_labels(library, 1)
    ben.page.keyboard.press("a")
    ben.said("ann said yes")
    assert {label.by: label.value for label in queries.labels(library)} == {"ann": "present", "ben": "absent"}
    ben.go("/l/library/disputes")
    ben.page.fill("input[name=why]", "a toe nail only")
    ben.page.click("text=Settle it")
    assert ben.page.evaluate("document.querySelector('select[name=value]').validity.valueMissing")
    ben.page.select_option("select[name=value]", "present")
    with ben.page.expect_navigation():
        ben.page.click("text=Settle it")
    expect(ben.page.locator("main")).to_contain_text("Nobody disagrees")
    ann.close()
    ben.close()


def test_looked_at_all_is_refused_while_photos_were_never_on_the_screen(
    visitor, library, photo_maker, tmp_path
):
    from triage.ingest import ingest

    for number in range(14):
        photo_maker(tmp_path / "many" / "M" / f"{number:02d}.jpg", seed=500 + number)
    ingest(library, [tmp_path / "many"], by="ann", engine="here")
    page = visitor.go("/l/library/look?d=M&tag=missing-hanger")
    page.locator(".lookat img").first.wait_for()
    page.wait_for_timeout(150)
    page.evaluate("document.querySelector('[data-looked]').click()")
    visitor.said("have not been on the screen yet, or too briefly")
    assert queries.labels(library) == []
    look_at(page.locator(".lookat"))
    with page.expect_navigation():
        page.evaluate("document.querySelector('[data-looked]').click()")
    assert [label.value for label in queries.labels(library)] == ["absent"] * 14
    assert re.search("D-17|M", page.title())


def test_close_view_marks_the_same_place(visitor, library):
    page = visitor.go("/l/library/look?d=D-17&tag=missing-hanger")
    page.locator("[data-closer]").first.click()
    drawn(page.locator(".closer .paper img").first)
    page.keyboard.press("k")
    box = page.locator(".closer .paper").first.bounding_box()
    page.mouse.click(box["x"] + 0.3 * box["width"], box["y"] + 0.6 * box["height"])
    expect(page.locator(".closer .mark.mine").first).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#tally")).to_contain_text("1 yes")
    look_at(page.locator(".lookat"))
    with page.expect_navigation():
        page.click("[data-looked=all]")
    marked = [label for label in queries.labels(library) if label.value == "present"]
    assert marked[0].boxes[0] == pytest.approx((0.3, 0.6, 0, 0), abs=0.006)


def test_a_spot_clicked_before_its_picture_has_come_lies_where_it_was_clicked(visitor):
    held = []
    visitor.page.route("**/picture/*", lambda route: held.append(route))
    visitor.page.route("**/thumb/*", lambda route: held.append(route))
    visitor.page.goto(
        f"http://127.0.0.1:{visitor.running.port}/l/library/look?d=D-17&tag=missing-hanger",
        wait_until="domcontentloaded",
    )
    page = visitor.page
    frame = page.locator(".lookat .shotframe").first
    box = frame.bounding_box()
    assert box["width"] / box["height"] == pytest.approx(320 / 240, rel=0.01)
    frame.click(position={"x": box["width"] * 0.25, "y": box["height"] * 0.6})
    mark = frame.locator(".tilemarks .mine").first.bounding_box()
    middle = (mark["x"] + mark["width"] / 2 - box["x"], mark["y"] + mark["height"] / 2 - box["y"])
    assert middle == pytest.approx((box["width"] * 0.25, box["height"] * 0.6), abs=3)
    assert held
    for one in held:
        one.continue_()
