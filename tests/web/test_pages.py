"""The pages without a browser: what they show, what an act stores, and that it is what the commands store."""

from __future__ import annotations

import io

from PIL import Image

from tests.web.browserless import Client
from tests.web.walks import without_deck
from triage.assess import assess_library
from triage.assess.acts import set_tier
from triage.errors import NotWritten
from triage.library import Library, queries
from triage.library.records import UNSORTED
from triage.web.standing import Standing


def test_first_screen_lists_libraries_and_makes_one(page, tmp_path):
    assert "library" in page.get("/").text
    done = page.form("/new", library="season 2026")
    assert done.headers["location"] == "/l/season%202026/"
    assert (tmp_path / "season 2026" / "library.toml").exists()
    assert "no photos in this library yet" in page.get("/l/season%202026/").text
    assert page.form("/new", library="season 2026").status == 400


def test_decks_stand_in_the_order_of_the_command(page, library):
    text = page.get("/l/library/order").text
    places = [text.index(f">{one.deck}<") for one in assess_library(library)]
    assert places == sorted(places)


def test_answer_is_the_row_that_the_command_writes(page, library):
    photo = queries.photos(library, "D-17")[0]
    given = {
        "photo": photo.sha,
        "tag": "missing-hanger",
        "value": "present",
        "boxes": [[0.1, 0.2, 0.3, 0.2]],
        "place": "joist 4 of 14",
        "count": 2,
        "note": "near the door",
        "asked_by": "deck",
        "saw_machine": True,
    }
    assert page.json("/l/library/answer", given).status == 200
    (label,) = queries.labels(library, photo=photo.sha)
    assert (label.value, label.by, label.boxes) == ("present", "ann", ((0.1, 0.2, 0.3, 0.2),))
    assert (label.place, label.count, label.note) == ("joist 4 of 14", 2, "near the door")
    assert (label.asked_by, label.saw_machine) == ("deck", True)


def test_undo_takes_back_my_last_act_only(page, library):
    one, two = queries.photos(library, "D-17")[:2]
    for photo in (one, two):
        page.json("/l/library/answer", {"photo": photo.sha, "tag": "missing-hanger", "value": "absent"})
    library.say("label", {"photo": one.sha, "tag": "rusted-connector", "value": "present"}, by="ben")
    told = page.json("/l/library/undo", {}).json
    assert told["photos"] == [two.sha]
    assert "missing hanger: no" in told["told"]
    assert {(label.photo, label.by) for label in queries.labels(library)} == {
        (one.sha, "ann"),
        (one.sha, "ben"),
    }
    page.json("/l/library/undo", {})
    done = page.json("/l/library/undo", {})
    assert done.status == 400
    assert "nothing by ann" in done.json["error"]


def test_second_person_on_one_photo_is_told_and_both_rows_stay(page, running, library):
    photo = queries.photos(library, "D-17")[0]
    given = {"photo": photo.sha, "tag": "missing-hanger", "value": "present"}
    assert page.json("/l/library/answer", given).json["told"] == ""
    ben = Client(running).enter().name("ben")
    told = ben.json("/l/library/answer", {**given, "value": "absent"}).json["told"]
    assert "ann said yes" in told
    assert "disagree" in told
    word = queries.words(library)[photo.sha, "missing-hanger"]
    assert word.disputed
    assert {label.by for label in word.labels} == {"ann", "ben"}


def test_what_a_decision_did_to_the_deck_is_told(page, library):
    photo = queries.photos(library, "D-17")[0]
    page.get("/l/library/standing", d="D-17")
    page.json("/l/library/answer", {"photo": photo.sha, "tag": "missing-hanger", "value": "present"})
    now = page.get("/l/library/standing", d="D-17").json
    assert any("tier was" in one for one in now["changes"])
    assert any("concern" in one and "is new" in one for one in now["changes"])
    assert page.get("/l/library/standing", d="D-17").json["changes"] == []


def test_the_list_is_brought_up_behind_the_page(library):
    """What it lists is what is kept beside the log: see `tests/assess/test_kept.py`."""
    standing = Standing(library)
    assert (standing.ready, standing.lines()) == (False, [])
    standing.start()
    assert standing.wait(20)
    assert standing.ready
    assert [line.deck for line in standing.lines()] == [one.deck for one in assess_library(library)]
    set_tier(library, "D-18", "stop-use", why="It leans.", by="ann")
    assert not standing.ready
    assert standing.of("D-18").tier_by_person.tier == "stop-use"
    assert standing.last("D-17") is None
    standing.start()
    assert standing.wait(20)
    assert standing.lines()[0].tier_by_person.why == "It leans."


def test_a_library_that_cannot_be_written_is_listed_all_the_same(library, monkeypatch):
    def refuse(_engine):
        raise NotWritten("read only")

    monkeypatch.setattr("triage.assess.cache.refresh.writing", refuse)
    standing = Standing(library)
    standing.start()
    assert standing.wait(20)
    assert standing.failed is None
    assert standing.ready
    assert [line.deck for line in standing.lines()] == [one.deck for one in assess_library(library)]
    library.say("fact", {"deck": "D-18", "key": "attached", "value": True}, by="a")
    assert not standing.ready


def test_pictures_are_upright_and_carry_no_metadata(page, library, photo_maker, tmp_path):
    from triage.ingest import ingest

    photo_maker(
        tmp_path / "turned" / "T" / "side.jpg", seed=3, exif={0x0112: 6, "gps": (60.1, 24.9), 271: "Secret"}
    )
    ingest(library, [tmp_path / "turned"], by="ann", engine="here")
    photo = queries.photos(library, "T")[0]
    for kind, most in (("thumb", 480), ("picture", 1600), ("full", 10_000)):
        done = page.get(f"/l/library/{kind}/{photo.sha}")
        assert done.status == 200
        assert done.headers["content-type"] == "image/jpeg"
        picture = Image.open(io.BytesIO(done.body))
        assert picture.height > picture.width
        assert max(picture.size) <= most
        assert not picture.getexif()
        assert b"Secret" not in done.body
    assert Image.open(io.BytesIO(page.get(f"/l/library/full/{photo.sha}").body)).size == (
        photo.width,
        photo.height,
    )


def test_removed_photo_is_gone_from_the_page(page, library):
    from triage.ingest.moving import forget

    photo = queries.photos(library, "D-17")[0]
    assert page.get(f"/l/library/thumb/{photo.sha}").status == 200
    forget(library, [photo], by="ann")
    for kind in ("thumb", "picture", "full", "photo", "item"):
        assert page.get(f"/l/library/{kind}/{photo.sha}").status == 404
    assert not list(library.caches.rglob(f"*{photo.sha}*"))


def test_photo_page_holds_definitions_and_history(page, library):
    photo = queries.photos(library, "D-17")[0]
    page.json("/l/library/answer", {"photo": photo.sha, "tag": "missing-hanger", "value": "present"})
    page.json("/l/library/answer", {"photo": photo.sha, "tag": "missing-hanger", "value": "absent"})
    item = page.get(f"/l/library/item/{photo.sha}").json
    assert [(row["value"], row["replaced"]) for row in item["history"]] == [
        ("absent", "present"),
        ("present", None),
    ]
    assert [one["tag"] for one in item["questions"]][:5] == list(library.vocabulary().core)
    assert len(item["siblings"]) == 3
    assert "joist hanger" in page.get(f"/l/library/photo/{photo.sha}").text


def test_start_at_a_library_goes_there_once(library, tmp_path):
    from triage.web import start

    running = start(None, library.path)
    with running:
        client = Client(running).enter()
        assert client.get("/").headers["location"] == "/l/library/"
        assert client.get("/").status == 200


def test_errors_speak_without_commands(page):
    text = page.get("/l/library/deck", d="D-19").text
    assert "There is no deck" in text
    assert "deck-triage decks" not in text


def test_two_pages_on_one_library_see_each_other(page, library, tmp_path):
    with Library.open(tmp_path / "library") as other:
        other.say(
            "label",
            {"photo": queries.photos(library, "D-17")[0].sha, "tag": "missing-hanger", "value": "present"},
            by="cy",
        )
    assert "cy" in page.get("/l/library/deck/history", d="D-17").text


def test_photos_that_wait_are_shown_with_reasons_and_sorted(page, library, photo_maker, tmp_path):
    without_deck(library, photo_maker, tmp_path)
    assert 'href="/l/library/waiting"' in page.get("/l/library/order").text
    shown = page.get("/l/library/waiting").text
    assert "4 photos belong to no deck yet" in shown
    assert "Invented Phone 2" in shown
    reasons = queries.reasons(library, UNSORTED)
    assert len(reasons) == 4
    assert all(reason in shown for reason in reasons.values())
    three = [photo.sha for photo in queries.photos(library, UNSORTED)][:3]
    done = page.form(
        "/l/library/waiting/sort", photos=",".join(three), to="D-17", why="the same stairs", visit=""
    )
    assert done.headers["location"] == "/l/library/waiting"
    assert {photo.sha for photo in queries.photos(library, "D-17")} > set(three)
    assert queries.reasons(library, "D-17")[three[0]] == "the same stairs"
    assert "1 photo belongs to no deck yet" in page.get("/l/library/waiting").text
    page.json("/l/library/undo", {})
    assert len(queries.photos(library, UNSORTED)) == 4
    everything = ",".join(photo.sha for photo in queries.photos(library, UNSORTED))
    done = page.form("/l/library/waiting/sort", photos=everything, to="D-19")
    assert done.headers["location"] == "/l/library/"
    assert "No photo waits for a deck" in page.get("/l/library/waiting").text
    assert page.form("/l/library/waiting/sort", photos="", to="D-19").status == 400
    assert page.form("/l/library/waiting/sort", photos=three[0], to="").status == 400
