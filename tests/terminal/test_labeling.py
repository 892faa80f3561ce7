"""The labeling screen: its session, its keys in a driven app, the real program in a pseudo-terminal."""

import asyncio
import os
import signal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pseudo_terminal import Terminal

from triage.errors import BadInput
from triage.label.order import near_photos, questions
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.terminal.ask import AskApp
from triage.terminal.panel import question_text
from triage.terminal.picture import View, fitted, grid_box, lines, rulers
from triage.terminal.session import Session
from triage.terminal.slow import SlowStep


def session(library, **options):
    return Session(library, "ann", questions(library, by="ann", **options))


def test_the_default_order_is_deck_by_deck_and_element_by_element(library):
    asked = questions(library, by="ann")
    assert len(asked) == 6 * 5
    assert [one.photo.deck for one in asked] == ["D-17"] * 15 + ["D-18"] * 15
    tags = [one.tag for one in asked[:15:3]]
    assert all(len({one.tag for one in asked[at : at + 3]}) == 1 for at in range(0, 15, 3))
    assert tags.index("nail-only-ledger") < tags.index("side-bolted-beam")
    assert {one.asked_by for one in asked} == {"deck"}


def test_what_a_person_has_answered_is_not_asked_again(library):
    photo = queries.photos(library)[0]
    give_labels(library, [(photo, {"missing-hanger": "absent"})], by="ann")
    asked = questions(library, by="ann", tags=["missing-hanger"])
    assert photo.sha not in [one.photo.sha for one in asked]
    assert len(questions(library, by="ben", tags=["missing-hanger"])) == 6


def test_a_second_look_hands_out_what_others_labeled_without_their_labels(library):
    for photo in queries.photos(library)[:4]:
        give_labels(library, [(photo, {"missing-hanger": "present"})], by="ben")
    asked = questions(library, by="ann", second_look=3, tags=["missing-hanger"])
    assert len(asked) == 3
    assert {one.asked_by for one in asked} == {"second-look"}
    assert asked == questions(library, by="ann", second_look=3, tags=["missing-hanger"])
    with pytest.raises(BadInput, match="Nobody else"):
        questions(library, by="ben", second_look=3)


def test_orders_that_need_suggestions_say_so(library):
    with pytest.raises(BadInput, match="no suggestions"):
        questions(library, by="ann", order="dangerous")


def test_the_nearest_photo_to_a_photo_is_itself(library):
    photo = queries.photos(library)[3]
    assert near_photos(library, photo, queries.photos(library))[0].sha == photo.sha


def test_answers_are_on_the_disk_at_once_and_undo_goes_back(library):
    run = session(library)
    first = run.question
    run.boxes = [grid_box("c4")]
    run.answer("present")
    (label,) = queries.labels(library)
    assert (label.value, label.boxes, label.asked_by) == ("present", ((0.25, 0.5, 0.125, 1 / 6),), "deck")
    assert run.question != first
    run.undo()
    assert run.question == first
    assert queries.labels(library) == []


def test_none_of_the_rest_answers_this_photo_only(library):
    run = session(library)
    photo = run.question.photo
    run.answer("present")
    run.step(-1)
    assert run.none_of_the_rest() == 4
    assert {label.photo for label in queries.labels(library)} == {photo.sha}


def test_absent_of_a_defect_never_spreads(library):
    run = session(library)
    with pytest.raises(BadInput, match="not spread"):
        run.spread("absent", queries.photos(library)[1:])
    assert run.spread("present", queries.photos(library)[1:3]) == 3
    elements = session(library, tags=["shows-hanger"])
    assert elements.spread("absent", queries.photos(library)[1:3]) == 3


@given(
    st.sampled_from("abcdefgh"),
    st.sampled_from("123456"),
    st.sampled_from("abcdefgh"),
    st.sampled_from("123456"),
)
def test_a_block_of_squares_covers_both_its_corners(a, b, c, d):
    x, y, w, h = grid_box(f"{a}{b}-{c}{d}")
    for letter, number in ((a, b), (c, d)):
        sx, sy, sw, sh = grid_box(letter + number)
        assert x <= sx + 1e-12 <= sx + sw <= x + w + 1e-9
        assert y <= sy + 1e-12 <= sy + sh <= y + h + 1e-9
    assert 0 <= x <= x + w <= 1 + 1e-9
    assert 0 <= y <= y + h <= 1 + 1e-9


@pytest.mark.parametrize("text", ["", "i1", "a7", "4c", "c4-", "c4-z9", "c44"])
def test_a_square_that_is_none_is_refused(text):
    with pytest.raises(ValueError, match="no square"):
        grid_box(text)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0.1, 40))
def test_a_view_never_leaves_the_photo(right, down, factor):
    left, top, r, b = View().zoomed(factor).moved(right, down).box()
    assert -1e-9 <= left < r <= 1 + 1e-9
    assert -1e-9 <= top < b <= 1 + 1e-9


def test_a_picture_keeps_its_aspect_and_works_without_color():
    rgb = np.zeros((300, 400, 3), np.uint8)
    rgb[:, 200:] = 255
    assert fitted(400, 300, 54, 22) == (54, 20)
    gray = lines(rgb, 40, 20, color=False)
    text = "".join(segment.text for segment in gray[0])
    assert set(text) <= set(" .:-=+*#%@")
    assert text[0] != text[-1]
    colored = lines(rgb, 40, 20, color=True)
    assert "".join(segment.text for segment in colored[0]) == "▀" * 40
    letters, numbers = rulers(View(), 40, 15)
    assert letters.replace(" ", "") == "abcdefgh"
    assert "".join(numbers).replace(" ", "") == "123456"


async def shown(app, pilot):
    """Wait until what is on the screen takes keys."""
    for _ in range(600):
        await pilot.pause(0.01)
        if app.gate.is_open and not isinstance(app.screen, SlowStep):
            return
    pytest.fail("the screen never took a key")


def drive(app, *keys):
    async def run():
        async with app.run_test(size=(80, 24)) as pilot:
            await shown(app, pilot)
            for key in keys:
                await pilot.press(key)
                await shown(app, pilot)
            return app.export_screenshot()

    return asyncio.run(run())


def test_a_number_key_answers_the_open_tag_of_that_number_and_none_of_the_rest(library):
    asked = [one for one in questions(library, by="ann") if one.photo.name == "IMG_0410.jpg"]
    by_photo = sorted((one for one in asked if one.photo.deck == "D-17"), key=lambda one: one.tag)
    run = Session(library, "ann", by_photo)
    tags = run.open_tags()
    drive(AskApp(run, settle_s=0.0), "3", "u", "t", "escape", "2", "u", "t", "4")
    drive(AskApp(run, settle_s=0.0), "u", "f4")
    said = {label.tag: label.value for label in queries.labels(library)}
    assert said == {tag: "unclear" if tag == tags[3] else "absent" for tag in tags}
    events = [row for row in library.events("label") if row.payload["value"] == "present"]
    assert [row.payload["tag"] for row in events] == [tags[2], tags[1]], "Esc drops the 't'"


def test_keys_answer_mark_jump_and_undo(library):
    app = AskApp(session(library), settle_s=0)
    drive(app, "s", "c", "4", "enter", "p", "a", "c", "u", "j", *"d-18", "enter", "x")
    said = {(label.photo, label.tag): label for label in queries.labels(library)}
    photos = queries.photos(library)
    first = said[photos[0].sha, "nail-only-ledger"]
    assert (first.value, first.boxes) == ("present", (grid_box("c4"),))
    assert said[photos[1].sha, "nail-only-ledger"].value == "absent"
    assert (photos[2].sha, "nail-only-ledger") not in said
    assert sum(1 for sha, _ in said if sha == photos[3].sha) == 5


@pytest.mark.parametrize(
    "keys", [("d",), ("question_mark",), ("plus", "plus", "right", "g"), ("m",), ("enter",), ("l",)]
)
def test_looking_around_changes_nothing(library, keys):
    app = AskApp(session(library), settle_s=0)
    picture = drive(app, *keys)
    assert "svg" in picture
    assert queries.labels(library) == []


def test_a_photo_that_is_blurred_dark_or_far_says_so(library):
    """The drawn photos are small, so a nail head would be a few pixels: the screen says that they are far."""
    flagged = [photo for photo in queries.photos(library) if photo.quality.get("far")]
    assert flagged
    app = AskApp(session(library, deck=flagged[0].deck))
    assert "far" in question_text(app.session, app.session.question).plain


@pytest.mark.parametrize("env", [{}, {"NO_COLOR": "1"}], ids=["color", "no-color"])
def test_a_killed_terminal_loses_no_answer(library, env):
    folder = library.path
    library.close()
    terminal = Terminal("label", "ask", "--no-elements", "--by", "ann", "-L", folder, env=env)
    try:
        terminal.wait_for("● 0 of 30 answered")
        terminal.press("a")
        terminal.wait_for("● 1 of 30")
        terminal.press("p")
        terminal.wait_for("● 2 of 30")
        os.killpg(terminal.process.pid, signal.SIGKILL)
        terminal.process.wait()
    finally:
        terminal.close()
    with Library.open(folder) as again:
        assert [label.value for label in queries.labels(again)] == ["absent", "present"]
    terminal = Terminal("label", "ask", "--no-elements", "--by", "ann", "-L", folder, env=env)
    try:
        terminal.wait_for("● 0 of 28 answered")
        terminal.press("q")
        assert terminal.ended() == 0
    finally:
        terminal.close()
