"""Questions and set-aside files are kept until somebody answers; by the commands that people type."""

from __future__ import annotations

import json
import shutil
import zipfile

import pytest

from triage.cli import run
from triage.ingest import take_in
from triage.ingest.exif import read_exif
from triage.ingest.questions import answer, dealt_with, left_out, open_questions
from triage.library import Library, queries


@pytest.fixture
def said(tmp_path, monkeypatch, capsys):
    """Run a command on a fresh library; returns (exit code, JSON)."""
    monkeypatch.setenv("DECK_TRIAGE_LIBRARY", str(tmp_path / "lib"))
    monkeypatch.setenv("DECK_TRIAGE_BY", "ann")
    run(["new", str(tmp_path / "lib")])
    capsys.readouterr()

    def say(*words):
        code = run([*map(str, words), "--json"])
        out = capsys.readouterr().out
        return code, json.loads(out) if out else None

    return say


def house(folder, photo_maker, seed, hour, meters=0.0, count=4, camera="Phone 1", minute=0):
    """Draw the photos of one stop."""
    for number in range(count):
        photo_maker(
            folder / f"IMG_{seed + number:04d}.jpg",
            seed=seed + number,
            exif={
                271: "Invented",
                272: camera,
                "taken_at": f"2026:05:04 {hour:02d}:{minute + number // 4:02d}:{number % 4 * 12:02d}",
                "gps": (44.3 + meters / 111_195, -86.9),
            },
        )


def test_a_zip_of_a_day_gives_its_decks(said, photo_maker, tmp_path):
    for number, deck in enumerate(("deck-10", "deck-11", "deck-12")):
        house(tmp_path / "Monday" / deck, photo_maker, 100 * number + 1, 9 + number, 3000 * number)
    with zipfile.ZipFile(tmp_path / "Monday.zip", "w") as archive:
        for path in sorted((tmp_path / "Monday").rglob("*.jpg")):
            archive.write(path, path.relative_to(tmp_path))
    code, told = said("ingest", tmp_path / "Monday.zip")
    assert (code, told["decks"]) == (0, {"deck-10": 4, "deck-11": 4, "deck-12": 4})


@pytest.mark.parametrize("name", ["DCIM", "Elm walk", "WhatsApp Images"])
def test_a_flat_folder_of_four_houses_is_never_one_deck(said, photo_maker, tmp_path, name):
    for number in range(4):
        house(tmp_path / name, photo_maker, 100 * number + 1, 9 + number, 5500 * number)
    code, told = said("ingest", tmp_path / name)
    assert code == 0
    assert sorted(told["decks"].values()) == [4, 4, 4, 4]
    assert len(told["proposed"]) >= 3


def test_a_question_stays_until_it_is_answered_and_comes_back_with_undo(said, photo_maker, tmp_path):
    house(tmp_path / "DCIM", photo_maker, 1, 9, count=8)
    house(tmp_path / "DCIM", photo_maker, 50, 9, 6, count=4, minute=8)
    code, told = said("ingest", tmp_path / "DCIM")
    assert (code, told["waiting"]) == (3, 4)
    (question,) = told["questions"]
    assert {"id", "kind", "photos", "reason", "proposal"} <= set(question)
    assert (question["kind"], len(question["photos"])) == ("long-pause", 4)
    house(tmp_path / "else" / "D-9", photo_maker, 900, 15, 9000)
    assert said("ingest", tmp_path / "else")[0] == 0
    assert [one["id"] for one in said("status")[1]["questions"]] == [question["id"]]
    again = said("ingest", tmp_path / "DCIM")
    assert (again[0], again[1]["questions"]) == (3, [question])
    code, moved = said("decks", "answer", question["id"], "--deck", "next-door")
    assert (code, len(moved["photos"]), moved["questions"]) == (0, 4, [])
    assert said("status")[1]["questions"] == []
    said("undo")
    assert [one["id"] for one in said("status")[1]["questions"]] == [question["id"]]


def test_a_file_that_was_set_aside_stays_in_status_until_it_is_struck_off_or_taken_in(
    said, photo_maker, tmp_path
):
    house(tmp_path / "card" / "D-1", photo_maker, 1, 9)
    good = (tmp_path / "card" / "D-1" / "IMG_0001.jpg").read_bytes()
    for name in ("half", "torn"):
        (tmp_path / "card" / "D-1" / f"{name}.jpg").write_bytes(good[: len(good) // 2])
    assert said("ingest", tmp_path / "card")[0] == 3
    left = said("status")[1]["set_aside"]
    assert sorted(one["file"].rsplit("/", 1)[-1] for one in left) == ["half.jpg", "torn.jpg"]
    said("ingest", tmp_path / "card")
    assert said("status")[1]["set_aside"] == left
    torn = next(one for one in left if one["file"].endswith("torn.jpg"))
    assert said("decks", "answer", torn["id"], "--seen")[0] == 0
    photo_maker(tmp_path / "card" / "D-1" / "half.jpg", seed=70)
    said("ingest", tmp_path / "card")
    assert said("status")[1]["set_aside"] == []


def test_a_file_whose_photo_waited_leaves_the_list_with_its_answer_and_comes_back_with_undo(
    said, photo_maker, tmp_path
):
    house(tmp_path / "walk", photo_maker, 1, 9)
    assert said("ingest", tmp_path / "walk", "--deck-from", "slate")[0] == 3
    with Library.open(tmp_path / "lib") as library:
        assert len(left_out(library)) == 4
        (question,) = open_questions(library)
        answer(library, [question.id], by="ann", deck="D-1")
        assert left_out(library) == []
        library.undo("ann")
        assert len(left_out(library)) == 4
        dealt_with(library, [left_out(library)[0].id], by="ann")
        assert len(left_out(library)) == 3


def test_only_clear_proposals_are_accepted_together(said, photo_maker, tmp_path):
    house(tmp_path / "DCIM", photo_maker, 1, 9, count=8)
    house(tmp_path / "DCIM", photo_maker, 50, 9, 20, count=4, minute=8)  # two decks of a house, or one
    told = said("ingest", tmp_path / "DCIM")[1]
    assert 0.1 < told["questions"][0]["probability"] < 0.9
    code, answered = said("decks", "answer", "--all")
    assert (code, answered["photos"]) == (3, [])
    assert len(answered["questions"]) == 1


def test_a_named_folder_with_a_far_photo_asks(said, photo_maker, tmp_path):
    house(tmp_path / "card" / "D-1", photo_maker, 1, 9)
    house(tmp_path / "card" / "D-1", photo_maker, 50, 11, 4000)
    house(tmp_path / "card" / "D-2", photo_maker, 80, 14, 9000)
    code, told = said("ingest", tmp_path / "card")
    assert (code, told["decks"], told["waiting"]) == (3, {"D-1": 4, "D-2": 4}, 4)
    assert told["questions"][0]["proposal"] == "D-1-2"


def test_a_level_and_a_dry_run_with_its_tree(said, photo_maker, tmp_path):
    house(tmp_path / "town" / "North" / "D-1", photo_maker, 1, 9)
    house(tmp_path / "town" / "North" / "D-2", photo_maker, 50, 12, 4000)
    code, told = said("ingest", tmp_path / "town", "--dry-run")
    assert (code, told["decks"]) == (0, {"D-1": 4, "D-2": 4})
    assert told["tree"] == [
        "town/",
        "  North/",
        "    D-1/: 4 photos, deck D-1",
        "    D-2/: 4 photos, deck D-2",
    ]
    assert said("photos")[1] == []
    assert said("ingest", tmp_path / "town", "--deck-level", "1")[1]["decks"] == {"North": 8}


def test_a_plan_names_the_stops_and_says_what_is_missing(said, photo_maker, tmp_path):
    for number in range(3):
        house(tmp_path / "DCIM", photo_maker, 100 * number + 1, 9 + number, 4000 * number)
    (tmp_path / "day.csv").write_text(
        "name,address,latitude,longitude,time\n"
        f"H-1,1 Invented Street,44.3,-86.9,\nH-2,,{44.3 + 4000 / 111_195},-86.9,\nH-9,,44.9,-86.9,\n"
    )
    code, told = said("ingest", tmp_path / "DCIM", "--plan", tmp_path / "day.csv")
    assert code == 3
    assert told["decks"]["H-1"] == told["decks"]["H-2"] == 4
    assert {"kind": "no-photos", "stop": "H-9", "decks": ["H-9"]} in told["plan"]
    assert [row["deck"] for row in told["plan"] if row["kind"] == "no-stop"] == ["2026-05-04-1"]
    with Library.open(tmp_path / "lib") as library:
        assert queries.deck_private(library, "H-1") == {"address": "1 Invented Street"}
        assert "Invented Street" not in json.dumps([dict(one.payload) for one in library.events()])


def test_a_plan_without_positions_only_proposes(said, photo_maker, tmp_path):
    house(tmp_path / "DCIM", photo_maker, 1, 9)
    (tmp_path / "day.csv").write_text("name,day,time\nH-1,2026-05-04,09:05\n")
    code, told = said("ingest", tmp_path / "DCIM", "--plan", tmp_path / "day.csv")
    assert (code, told["decks"], told["questions"][0]["proposal"]) == (3, {}, "H-1")


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("name\nH-1\nh-1\n", "two stops named"),
        ("place\nx\n", "no column 'name'"),
        ("name,color\nx,red\n", "unknown column 'color'"),
        ("name,latitude,longitude\nx,0,0\n", "not a place on earth"),
        ("name,latitude,longitude\nx,nan,1\n", "not a place on earth"),
        ("name,latitude,longitude\nx,north,1\n", "is not a position"),
        ("name,decks\nx,many\n", "not a number of decks"),
        ("name,time\nx,noon\n", "is not a time"),
        ("name\n", "holds no stop"),
    ],
)
def test_a_plan_that_cannot_be_used_says_why(said, capsys, photo_maker, tmp_path, rows, words):
    house(tmp_path / "DCIM", photo_maker, 1, 9, count=1)
    (tmp_path / "day.csv").write_text(rows)
    assert run(["ingest", str(tmp_path / "DCIM"), "--plan", str(tmp_path / "day.csv")]) == 1
    assert words in capsys.readouterr().err


def test_a_zip_within_a_zip_is_set_aside(said, photo_maker, tmp_path):
    house(tmp_path / "D-1", photo_maker, 1, 9, count=1)
    with zipfile.ZipFile(tmp_path / "inner.zip", "w") as archive:
        archive.write(tmp_path / "D-1" / "IMG_0001.jpg", "D-1/IMG_0001.jpg")
    with zipfile.ZipFile(tmp_path / "outer.zip", "w") as archive:
        archive.write(tmp_path / "inner.zip", "inner.zip")
        archive.write(tmp_path / "D-1" / "IMG_0001.jpg", "D-2/IMG_0001.jpg")
    code, told = said("ingest", tmp_path / "outer.zip")
    assert (code, told["decks"]) == (3, {"D-2": 1})
    assert "archive inside" in told["set_aside"][0]["reason"]


def test_options_that_say_two_things_are_refused(said, tmp_path):
    assert said("ingest", tmp_path, "--deck", "D-1", "--deck-from", "walk")[0] == 2
    assert said("ingest", tmp_path, "--deck", "D-1", "--deck-level", "1")[0] == 2


def test_exif_is_parsed_once_from_the_bytes_that_were_hashed(photo_maker, tmp_path, monkeypatch):
    from triage.ingest import ingest

    calls = []

    def counted(source):
        calls.append(source)
        return read_exif(source)

    monkeypatch.setattr(take_in, "read_exif", counted)
    photo_maker(tmp_path / "card" / "D-1" / "a.jpg", seed=1, exif={"taken_at": "2026:05:04 10:00:00"})
    with Library.create(tmp_path / "lib") as library:
        ingest(library, [tmp_path / "card"], by="ann", engine="here")
        assert queries.photos(library, "D-1")[0].taken_at == "2026-05-04T10:00:00"
    assert [type(one) for one in calls] == [bytes]
    shutil.rmtree(tmp_path / "card")
