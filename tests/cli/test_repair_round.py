"""The shipped second visits go through the repair round by commands, without an error."""

from __future__ import annotations

import csv
import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from triage.cli import run as run_command

SAMPLES = Path(__file__).resolve().parents[2] / "sample_photos"
SECOND = SAMPLES / "second_visit"
DECKS = ("deck-01", "deck-05", "deck-09", "deck-13")
BEFORE, AFTER = "2026-05-04", "2026-09-23"
READ_ME = Path(__file__).resolve().parents[2] / "triage" / "report" / "README.md"
Say = Callable[..., Any]


def commands() -> list[str]:
    """Return the commands of the repair round as the read-me has them, with the paths as they are here."""
    round_ = READ_ME.read_text(encoding="utf-8").split("## The repair round")[1].split("## ")[0]
    lines = [line.strip() for line in round_.splitlines() if line.startswith("    deck-triage ")]
    return [line.removeprefix("deck-triage ").replace("sample_photos", str(SAMPLES)) for line in lines]


@pytest.fixture(scope="module")
def first_visit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library of the four decks that the demo has two visits of, after the first."""
    folder = tmp_path_factory.mktemp("round")
    for deck in DECKS:
        shutil.copytree(SAMPLES / "photos" / deck, folder / "first" / deck)
    with (SAMPLES / "labels.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    with (folder / "labels.csv").open("w", newline="") as file:
        csv.writer(file).writerows([rows[0], *(row for row in rows if row[1] in DECKS)])
    where = f"-L {folder / 'library'} --by ann"
    for line in (
        f"new {folder / 'library'}",
        f"ingest {folder / 'first'} --engine here {where}",
        f"label read {folder / 'labels.csv'} {where}",
    ):
        assert run_command(shlex.split(line)) == 0, line
    shutil.copytree(folder / "library", folder / "both")
    taken = [line for line in commands() if line.startswith("ingest ")]
    assert len(taken) == len(DECKS)
    for line in taken:
        whole = f"{line} --engine here -L {folder / 'both'} --by ann"
        assert run_command(shlex.split(whole)) == 0, line
    return folder


@pytest.fixture
def say(first_visit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> Say:
    """Run one command on a copy of the library with both visits; returns its JSON, or its text."""
    shutil.copytree(first_visit / "both", tmp_path / "library")
    monkeypatch.setenv("DECK_TRIAGE_LIBRARY", str(tmp_path / "library"))
    monkeypatch.setenv("DECK_TRIAGE_BY", "ann")

    def one(line: str, *, ends: int = 0, text: bool = False) -> Any:
        capsys.readouterr()
        code = run_command([*shlex.split(line), *([] if text else ["--json"])])
        told = capsys.readouterr()
        assert code == ends, (line, told.err)
        return told.out + told.err if text or ends not in (0, 3) else json.loads(told.out)

    return one


def test_the_round_runs_by_the_commands_of_the_read_me(say, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for line in commands():
        if not line.startswith("ingest "):
            done = say(line, ends=3 if line.startswith("repairs close") else 0)
    assert done["closed"] > 0
    assert all(one["reason"] for one in done["lines"] if not one["closed"])


def test_the_second_visits_facts_and_labels_are_read_as_they_are_shipped(say):
    assert sorted(say(f"facts read {SECOND / 'facts.toml'}")) == list(DECKS)
    read = say(f"label read {SECOND / 'labels.csv'}")
    assert (read["rows"], read["new"], read["set_aside"]) == (330, 330, [])
    read = say(f"label read {SECOND / 'labels.csv'}")
    assert (read["known"], read["set_aside"]) == (330, [])


def test_a_first_visits_rows_stay_known_when_a_second_visit_has_photos_of_the_same_names(say, first_visit):
    read = say(f"label read {first_visit / 'labels.csv'}")
    assert (read["new"], read["known"], read["set_aside"]) == (0, read["rows"], [])


def without_visit(target: Path) -> Path:
    with (SECOND / "labels.csv").open(newline="") as file:
        rows = [row[:-1] for row in csv.reader(file)]
    with target.open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    return target


def test_rows_that_name_no_visit_go_to_neither_photo_until_one_is_named(say, tmp_path):
    file = without_visit(tmp_path / "labels.csv")
    read = say(f"label read {file}", ends=3)
    assert (read["new"], len(read["set_aside"])) == (0, 330)
    assert "2026-05-04, 2026-09-23" in read["set_aside"][0]["reason"]
    assert "--visit DATE" in read["set_aside"][0]["reason"]
    read = say(f"label read {file} --visit {AFTER}", ends=3)
    mine = [row for row in csv.reader(file.read_text().splitlines()) if row[1] in ("deck-01", "deck-05")]
    assert read["new"] == len(mine)


def test_words_about_photos_that_wait_never_fall_on_the_photos_of_the_first_visit(say, tmp_path, first_visit):
    """'No hanger is missing' is said of the repaired deck; the photos of May show that one is missing."""
    shutil.rmtree(tmp_path / "library")
    shutil.copytree(first_visit / "library", tmp_path / "library")
    asked = say(f"ingest {SECOND / 'photos'} --engine here", ends=3)
    assert asked["waiting"] == 15
    tiers = {one["deck"]: one["tier"] for one in say("assess")["decks"]}
    for file in (SECOND / "labels.csv", without_visit(tmp_path / "labels.csv")):
        read = say(f"label read {file}", ends=3)
        assert (read["new"], len(read["set_aside"])) == (0, 330)
    assert {one["deck"]: one["tier"] for one in say("assess")["decks"]} == tiers


def test_deck_and_name_mean_the_photo_before_and_the_photo_after(say):
    found = say("close deck-05 --propose --before deck-05/hanger-1.jpg")
    assert {one["visit"] for one in found} == {AFTER}
    told = say("label set deck-05/hanger-1.jpg missing-hanger=absent", ends=1, text=True)
    for day in (BEFORE, AFTER):
        assert f"deck-05/{day}/hanger-1.jpg" in told
    say(f"label set deck-05/{AFTER}/hanger-1.jpg shows-hanger=present missing-hanger=absent")
    closing = "close deck-05 missing-hanger --before deck-05/hanger-1.jpg --after deck-05/hanger-1.jpg"
    told = say(f"{closing} --why 'hanger set'", ends=2, text=True)
    assert f"deck-05/{AFTER}/hanger-1.jpg" in told, "what mends it names one photo"
    done = say(f"{closing} --why 'hanger set' --same-place")
    assert (done["status"], done["remaining"]) == ("repaired", [])


def by_state(lines):
    found = {}
    for one in lines:
        found.setdefault(one["state"], []).append(one)
    return found


def test_the_round_from_the_crews_sheet_to_what_is_closed_and_what_stays_open(say, tmp_path):
    """One sheet a house; what was done waits for a look; all that hold close at once; the rest says why."""
    sheets = say(f"repairs write {tmp_path / 'sheets'} --by-house --deck deck-05 --deck deck-09")["files"]
    assert [Path(one).name for one in sheets] == ["repairs-deck-05.csv", "repairs-deck-09.csv"]
    with Path(sheets[0]).open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["deck"] for row in rows} == {"deck-05"}
    hanger = next(row for row in rows if row["rule"] == "missing-hanger")
    hanger |= {"done": AFTER, "by": "Cara", "photo": "hanger-1.jpg"}
    with Path(sheets[0]).open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    read = say(f"repairs read {tmp_path / 'sheets'}")
    assert (read["new"], read["set_aside"]) == (1, [])

    line = next(one for one in say("repairs list deck-05") if one["rule"] == "missing-hanger")
    assert (line["state"], line["tie"], line["done_by"]) == ("look", "crew", "Cara")
    assert line["name_after"] == f"deck-05/{AFTER}/hanger-1.jpg", "the crew's photo is the later one"
    awaits = [one["rule"] for one in say("status")["awaiting"] if one["deck"] == "deck-05"]
    assert "missing-hanger" in awaits
    assert "await your look" in say("assess deck-05", text=True)

    say(f"facts read {SECOND / 'facts.toml'}")
    say(f"label read {SECOND / 'labels.csv'}")
    lines = by_state(say("repairs list deck-05 deck-09"))
    held = {one["photo_before"] for one in lines["holds"]}
    done = say("repairs close deck-05 deck-09 --why 'looked at each photo'", ends=3)
    assert {one["photo_before"] for one in done["lines"] if one["closed"]} == held
    assert all(one["reason"] and one["mend"] for one in done["lines"] if not one["closed"])
    after = by_state(say("repairs list deck-05 deck-09"))
    assert not after.get("holds")
    while pairs := by_state(say("repairs list deck-05")).get("compare"):
        say(pairs[0]["mend"].removeprefix("deck-triage ").removesuffix("TEXT --by NAME") + "bolted")
    nails = [one for one in say("assess deck-05")["decks"][0]["concerns"] if "nail-only" in one["rule"]]
    assert {one["status"] for one in nails} == {"repaired"}
    say("undo", text=True)
    assert by_state(say("repairs list deck-05"))["compare"], "undo opens it again"
