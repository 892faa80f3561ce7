"""The repair round and the list of what is left, on the page."""

from __future__ import annotations

import html

import pytest
from playwright.sync_api import expect

from triage.assess import assess_library
from triage.ingest import ingest
from triage.label.rows import give_labels
from triage.library import queries
from triage.report.awaiting import repair_round

DECK, SEPTEMBER = "D-17", "2026-09-01"


@pytest.fixture
def repaired(library, photo_maker, tmp_path):
    """Two hangers missing in May, and photos of both places in September that nobody has answered."""
    for number in range(2):
        photo_maker(tmp_path / "again" / DECK / f"IMG_041{number}.jpg", seed=900 + number)
    ingest(library, [tmp_path / "again" / DECK], by="ben", deck=DECK, visit=SEPTEMBER, engine="here")
    may = queries.photos(library, DECK, "2026-05-04")
    for number in range(2):
        give_labels(
            library, [(may[number], {"missing-hanger": "present"})], by="ann", place=f"joist {number + 2}"
        )
    return may, queries.photos(library, DECK, SEPTEMBER)


def words(*answers, **more):
    """Return a form with answers by line, as if both photos had stood on the screen."""
    form = {"of": DECK, "only": DECK, **more}
    for line, word in answers:
        form |= {f"say-{line.id}": word, f"seen-{line.id}": "yes"}
    return form


def test_what_awaits_a_look_is_answered_and_closed_in_one_screen(page, library, repaired):
    first, second = repair_round(library, [DECK])
    assert {first.state, second.state} == {"look"}
    text = html.unescape(page.get("/l/library/repairs", d=DECK).text)
    for one in (first, second):
        assert one.before.sha in text
        assert one.after.sha in text
    refused = page.form("/l/library/repairs/answer", **words((first, "repaired")))
    assert refused.status == 400, "a closing needs a reason"
    assert queries.closings(library, DECK) == []
    unseen = words((first, "repaired"), why="hanger set") | {f"seen-{first.id}": ""}
    assert page.form("/l/library/repairs/answer", **unseen).status == 400
    assert queries.closings(library, DECK) == []
    done = page.form(
        "/l/library/repairs/answer", **words((first, "repaired"), (second, "still"), why="hanger set")
    )
    assert done.status == 303
    (closing,) = queries.closings(library, DECK)
    assert (closing.before, closing.after, closing.by) == (first.before.sha, first.after.sha, "ann")
    states = {one.before.sha: one.state for one in repair_round(library, [DECK]) if one.before}
    assert first.before.sha not in states
    assert states[second.before.sha] == "stays"
    assert page.form("/l/library/repairs/answer", **words((first, "repaired"), why="x")).status == 400


def test_answers_that_contradict_each_other_on_one_photo_record_nothing(page, library, repaired):
    may, september = repaired
    library.say(
        "repair-done",
        {"deck": DECK, "visit": None, "rule": "missing-hanger", "done": True, "count": None, "day": None,
         "photo": september[0].sha, "row": "x"},
        by="ann", private={"place": "joist 3", "done_by": "Cara"},
    )  # fmt: skip
    lines = repair_round(library, [DECK])
    assert {one.after.sha for one in lines} == {september[0].sha}
    before = library.head()
    answers = zip(lines, ("repaired", "still"), strict=True)
    told = page.form("/l/library/repairs/answer", **words(*answers, why="set"))
    assert told.status == 400
    assert "contradict" in told.text
    assert library.head() == before


def test_what_another_person_sees_differently_stays_open_and_says_why(page, library, repaired):
    first = repair_round(library, [DECK])[0]
    give_labels(library, [(first.after, {"missing-hanger": "present"})], by="ben")
    (line,) = (one for one in repair_round(library, [DECK]) if one.before == first.before)
    assert line.state == "stays"
    tier = assess_library(library, [DECK])[0].tier
    page.form("/l/library/repairs/answer", **words((line, "repaired"), why="set"))
    assert queries.closings(library, DECK) == []
    assert "Stays open" in page.get("/l/library/repairs", d=DECK).text
    assert assess_library(library, [DECK])[0].tier == tier


def test_ready_lists_what_is_left_with_links_that_come_back(page, library, repaired):
    text = html.unescape(page.get("/l/library/ready", d=DECK).text)
    assert "left" in text
    photo = queries.photos(library, DECK)[2]
    where = page.get(f"/l/library/photo/{photo.sha}", tag="missing-hanger", **{"from": "ready", "rd": DECK})
    assert "/l/library/ready?d=D-17" in html.unescape(where.text)
    assert f'data-view="{photo.sha}"' in text
    assert "/l/library/ready" in page.get("/l/library/").text


@pytest.mark.browser
def test_both_photos_zoom_together_and_take_an_answer_only_when_they_were_shown(visitor, library, repaired):
    page = visitor.go(f"/l/library/repairs?d={DECK}")
    first = page.locator("fieldset[data-answers]").first
    expect(first).to_be_enabled(timeout=30_000)
    twin = page.locator(".twin").first
    page.locator("[data-zoom=in]").first.click()
    moved = [one.evaluate("one => one.style.transform") for one in twin.locator(".paper").all()]
    scales = {text.split("scale(")[1] for text in moved}
    assert len(moved) == 2
    over = "one => document.elementsFromPoint(one.x + one.width / 2, one.y + one.height / 2)[0].tagName"
    for one in twin.locator(".frame").all():
        assert page.evaluate(over, one.bounding_box()) in ("IMG", "DIV"), "nothing lies over the photo"
        assert (
            one.locator("svg").evaluate("one => getComputedStyle(one).backgroundColor") == "rgba(0, 0, 0, 0)"
        )
    assert len(scales) == 1
    assert twin.locator(".frame.zoomed").count() == 2
    assert visitor.axe() == []
    first.locator("input[value=repaired]").check()
    page.fill("input[name=why]", "hanger set")
    page.click("text=Record the answers")
    expect(page.locator(".told")).to_contain_text("1 photo closed")
    assert len(queries.closings(library, DECK)) == 1
