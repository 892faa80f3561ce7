"""Nothing lost: marks, notes, failed sends, uploads that break off, tabs that are out of date."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import expect

from tests.web.browserless import Client
from tests.web.browsing import Visitor, drawn
from triage.library import queries

pytestmark = pytest.mark.browser


def wait_until(so, seconds=120):
    ends = time.monotonic() + seconds
    while not so():
        assert time.monotonic() < ends
        time.sleep(0.05)


def mark(page, across, down):
    drawn(page.locator("#picture"))
    box = page.locator("#paper").bounding_box()
    page.mouse.click(box["x"] + across * box["width"], box["y"] + down * box["height"])


@pytest.mark.parametrize("leave", ["reload", "next", "back"])
def test_a_mark_is_saved_as_it_is_made(visitor, library, leave):
    first, *_ = queries.photos(library, "D-17")
    page = visitor.go("/l/library/")
    page = visitor.go(f"/l/library/photo/{first.sha}?tag=missing-hanger")
    page.keyboard.press("k")
    mark(page, 0.3, 0.4)
    expect(page.locator("#question")).to_contain_text("1 marked and saved")
    if leave == "reload":
        page.reload()
    elif leave == "next":
        page.keyboard.press("n")
        expect(page.locator("#where")).to_contain_text("2 of 3")
        page.keyboard.press("b")
    else:
        page.go_back()
        page.go_forward()
    expect(page.locator("#where")).to_contain_text("1 of 3")
    page.locator(".questions button", has_text="Missing hanger").click()
    expect(page.locator("#question")).to_contain_text("1 marked and saved")
    (row,) = queries.labels(library, tag="missing-hanger")
    assert row.value == "present"
    assert row.boxes[0] == pytest.approx((0.3, 0.4, 0, 0), abs=0.006)


def test_a_mark_can_be_moved_and_deleted(visitor, library):
    first, *_ = queries.photos(library, "D-17")
    page = visitor.go(f"/l/library/photo/{first.sha}?tag=missing-hanger")
    page.keyboard.press("k")
    mark(page, 0.3, 0.4)
    expect(page.locator("#question")).to_contain_text("1 marked")
    box = page.locator("#paper").bounding_box()
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 0.4 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 0.7 * box["height"], steps=5)
    page.mouse.up()
    wait_until(lambda: [r.boxes[0][0] > 0.5 for r in queries.labels(library)] == [True])
    assert queries.labels(library)[0].boxes[0] == pytest.approx((0.6, 0.7, 0, 0), abs=0.01)
    page.keyboard.press("Delete")
    wait_until(lambda: queries.labels(library)[0].boxes == ())


def test_marks_changed_while_an_earlier_change_is_being_sent_are_all_kept(visitor, library):
    """Made, made, moved, taken away, with a server that takes its time: each change starts from the last."""
    page = visitor.go(f"/l/library/photo/{queries.photos(library)[0].sha}?tag=missing-hanger")
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    page.evaluate(
        """() => { const real = window.fetch;
        const late = () => new Promise((done) => setTimeout(done, 400));
        window.fetch = async (where, given) => {
            if (given && given.method === "POST") await late();
            return real(where, given);
        }; }"""
    )
    page.keyboard.press("k")
    box = page.locator("#paper").bounding_box()
    spot = lambda u, v: (box["x"] + u * box["width"], box["y"] + v * box["height"])  # noqa: E731
    page.mouse.click(*spot(0.2, 0.2))
    page.mouse.click(*spot(0.6, 0.6))
    expect(page.locator("#marks .mine")).to_have_count(2)
    page.mouse.move(*spot(0.2, 0.2))
    page.mouse.down()
    page.mouse.move(*spot(0.4, 0.3), steps=4)
    page.mouse.up()
    page.keyboard.press("Escape")
    page.mouse.click(*spot(0.6, 0.6))  # chooses it
    page.keyboard.press("Delete")
    moved = lambda: queries.labels(library)[0].boxes[0][0] > 0.39  # noqa: E731
    wait_until(lambda: [len(one.boxes) for one in queries.labels(library)] == [1] and moved())
    assert [box[:2] for box in queries.labels(library)[0].boxes] == [pytest.approx((0.4, 0.3), abs=0.02)]
    expect(page.locator("#marks .mine")).to_have_count(1)


def test_a_note_that_was_typed_is_there_again_and_is_part_of_the_answer(visitor, library):
    first, *_ = queries.photos(library, "D-17")
    page = visitor.go(f"/l/library/photo/{first.sha}?tag=missing-hanger")
    page.locator("#words summary").click()
    page.fill("#note", "third joist from the wall")
    page.keyboard.press("Escape")
    page.reload()
    expect(page.locator("#note")).to_have_value("third joist from the wall")
    page.locator("#frame").focus()
    page.keyboard.press("p")
    wait_until(lambda: len(queries.labels(library)) == 1)
    assert queries.labels(library)[0].note == "third joist from the wall"


def test_a_failed_send_stays_on_its_question_and_is_sent_again(browser, running, library):
    visitor = Visitor(browser, running, "ann")
    first, *_ = queries.photos(library, "D-17")
    page = visitor.go(f"/l/library/photo/{first.sha}?tag=missing-hanger")
    page.route("**/answer", lambda route: route.abort())
    expect(page.locator("#frame")).to_have_attribute("data-state", "drawn")
    page.keyboard.press("p")
    expect(page.locator("#question")).to_contain_text("Not saved yet")
    expect(page.locator("#question h2")).to_have_text("Missing hanger?")
    page.keyboard.press("a")
    visitor.said("The last answer is not saved yet")
    assert queries.labels(library) == []
    page.unroute("**/answer")
    page.click("text=Send it now")
    expect(page.locator("#question h2")).to_have_text("Rusted connector?")
    assert [(row.tag, row.value) for row in queries.labels(library)] == [("missing-hanger", "present")]
    visitor.context.close()


def test_an_answer_that_was_not_saved_is_sent_when_the_tab_comes_back(browser, running, library):
    visitor = Visitor(browser, running, "ann")
    first, *_ = queries.photos(library, "D-17")
    page = visitor.context.new_page()
    page.on("dialog", lambda dialog: dialog.accept())
    where = f"http://127.0.0.1:{running.port}/l/library/photo/{first.sha}?tag=missing-hanger"
    page.goto(where)
    page.route("**/answer", lambda route: route.abort())
    page.keyboard.press("a")
    expect(page.locator("#question")).to_contain_text("Not saved yet")
    page.unroute("**/answer")
    page.goto(where)
    wait_until(lambda: [row.value for row in queries.labels(library)] == ["absent"])
    visitor.context.close()


def test_marks_on_the_close_look_are_there_after_leaving(visitor, library):
    page = visitor.go("/l/library/look?d=D-17&tag=missing-hanger")
    page.locator(".lookat .shotframe").first.click(position={"x": 60, "y": 60})
    expect(page.locator("#tally")).to_contain_text("1 yes")
    visitor.go("/l/library/")
    page = visitor.go("/l/library/look?d=D-17&tag=missing-hanger")
    expect(page.locator("#tally")).to_contain_text("1 yes")
    assert page.locator(".lookat .mark.mine").count() == 1


def test_an_upload_that_broke_off_is_listed_and_taken_in(page, running, library, photo_maker, tmp_path):
    """What arrived before the tab was closed is not orphaned: it waits on the page until it is settled."""
    photo = photo_maker(tmp_path / "one.jpg", seed=11)
    given = {"planned": 3, "left_out": [["notes.txt", "neither a photo nor a zip"]]}
    upload = page.json("/l/library/add/begin", given).json["upload"]
    sent = page.ask("POST", f"/l/library/add/{upload}/file?name=N-1/one.jpg", photo.read_bytes())
    assert sent.status == 200
    text = page.get("/l/library/add").text
    assert "1 file of 3 arrived" in text
    assert "notes.txt" in text
    assert page.form("/l/library/add/arrived", upload=upload, how="take").status == 303
    wait_until(lambda: queries.is_deck(library, "N-1"))
    wait_until(lambda: "of 3 arrived" not in page.get("/l/library/add").text)
    wait_until(lambda: "notes.txt" in page.get("/l/library/add").text)  # it stays until somebody noted it
    page.form("/l/library/add/arrived", upload=upload, how="noted")
    assert "notes.txt" not in page.get("/l/library/add").text
    assert not list((library.caches / "uploads").iterdir())


def test_an_undated_deck_waits_for_its_day(page, library, photo_maker, tmp_path):
    from triage.ingest import ingest

    photo_maker(tmp_path / "u" / "U-1" / "a.jpg", seed=5, exif={})
    ingest(library, [tmp_path / "u"], by="ann", engine="here")
    assert queries.photos(library, "U-1")[0].visit is None
    assert "1 photo without a day" in page.get("/l/library/add").text
    page.form("/l/library/deck/visit-day", deck="U-1", visit="2026-06-01")
    assert queries.photos(library, "U-1")[0].visit == "2026-06-01"
    assert "without a day" not in page.get("/l/library/add").text


def test_leaving_while_photos_are_sent_warns(browser, running, library, photo_maker, tmp_path):
    visitor = Visitor(browser, running, "ann")
    photo_maker(tmp_path / "send" / "S-1" / "a.jpg", seed=5)
    held = []
    page = visitor.context.new_page()
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.route("**/add/*/file*", lambda route: held.append(route))
    page.goto(f"http://127.0.0.1:{running.port}/l/library/add")
    page.set_input_files("#folder", str(tmp_path / "send"))
    expect(page.locator("#sending")).to_be_visible()
    page.locator("h1").click()
    page.evaluate("location.reload()")
    page.wait_for_timeout(800)
    assert asked == ["beforeunload"]
    for one in held:
        one.continue_()
    visitor.context.close()


def test_a_tab_speaks_under_the_name_that_it_shows(browser, running, library):
    visitor = Visitor(browser, running, "ann")
    first, *_ = queries.photos(library, "D-17")
    one = visitor.go(f"/l/library/photo/{first.sha}?tag=missing-hanger")
    other = visitor.context.new_page()
    other.goto(f"http://127.0.0.1:{running.port}/l/library/")
    other.click(".speaker summary")
    other.fill(".drop input[name=name]", "ben")
    with other.expect_navigation():
        other.click(".drop button")
    expect(one.locator("#othername")).to_contain_text("In another tab the name is ben")
    expect(one.locator("#othername")).to_contain_text("still speaks as ann")
    one.bring_to_front()
    held = []
    one.route("**/answer", lambda route: held.append(route))
    with one.expect_request("**/answer"):
        one.keyboard.press("p")
    one.click("text=Speak as ben here too")  # while the answer is on its way: it is saved first
    one.wait_for_timeout(150)
    held[0].continue_()
    wait_until(lambda: len(queries.labels(library)) == 1)
    assert queries.labels(library)[0].by == "ann"
    expect(one.locator(".speaker summary")).to_contain_text("ben")
    visitor.close()


def test_a_name_that_nobody_said_in_this_browser_is_refused(running, library):
    ben = Client(running).enter().name("ben")
    photo = queries.photos(library)[0]
    head = {"Content-Type": "application/json", "X-Speaks-As": "somebody"}
    body = f'{{"photo": "{photo.sha}", "tag": "missing-hanger", "value": "absent"}}'.encode()
    assert ben.ask("POST", "/l/library/answer", body, head).status == 403
    assert queries.labels(library) == []


def test_a_tab_that_is_out_of_date_overwrites_nothing(page, running, library):
    """Ben stores a height while ann has the form open: her span is stored, his height stays."""
    library.say(
        "fact", {"deck": "D-17", "visit": None, "key": "joist_size", "value": "2x8", "photos": []}, by="ann"
    )
    shown = '{"joist_size": "2x8"}'
    ben = Client(running).enter().name("ben")
    fields = {"deck": "D-17", "shown": shown}
    his = {**fields, "fact.height_above_grade_ft": "9", "fact.joist_size": "2x8"}
    assert ben.form("/l/library/deck/facts", **his).status == 303
    hers = {**fields, "fact.height_above_grade_ft": "", "fact.joist_size": "2x8", "fact.joist_span_ft": "11"}
    assert page.form("/l/library/deck/facts", **hers).status == 303
    facts = queries.facts(library, "D-17")
    assert (facts["height_above_grade_ft"].value, facts["joist_span_ft"].value) == (9.0, 11.0)

    clash = page.form("/l/library/deck/facts", **{**fields, "fact.height_above_grade_ft": "7"})
    assert clash.status == 409
    assert "now 9 ft (<bdi>ben</bdi>); you wrote 7" in clash.text
    assert queries.facts(library, "D-17")["height_above_grade_ft"].value == 9.0


def test_every_wrong_value_stands_at_its_field_and_what_was_typed_is_kept(page, library):
    given = {
        "deck": "D-17",
        "fact.joist_span_ft": "long",
        "fact.joist_spacing_in": "wide",
        "fact.year_built": "1999",
    }
    answer = page.form("/l/library/deck/facts", **given)
    assert answer.status == 400
    assert "2 values cannot be stored" in answer.text
    assert answer.text.count('class="warn" role="alert"') == 3
    for typed in ("long", "wide", "1999"):
        assert f'value="{typed}"' in answer.text
    assert queries.facts(library, "D-17") == {}
