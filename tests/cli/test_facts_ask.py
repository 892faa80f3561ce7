"""The site sheet asked in a terminal: the command as a process, with answers typed into it."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
import warm

from tests.common import draw_photo
from triage.ingest.ingest import ingest
from triage.library import Library, queries


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A library with one deck."""
    (tmp_path / "in").mkdir()
    draw_photo(tmp_path / "in" / "a.jpg", seed=3, exif={"taken_at": "2026:05:04 12:00:00"})
    with Library.create(tmp_path / "lib") as library:
        ingest(library, [tmp_path / "in"], by="ann", deck="D-17", engine="here")
    return tmp_path / "lib"


def typed(home: Path, words: list[str], text: str) -> warm.Done:
    environment = {**os.environ, "DECK_TRIAGE_LIBRARY": str(home), "DECK_TRIAGE_BY": "ann"}
    return warm.call("facts", *words, env=environment, text=text)


def known(home: Path) -> dict[str, object]:
    with Library.open(home) as library:
        return {key: fact.value for key, fact in queries.facts(library, "D-17").items()}


def test_answers_in_units_as_people_write_them_skipping_and_one_step_back(home):
    done = typed(home, ["ask", "D-17", "--json"], "9' 6\"\nyes\n\nno\nu\nyes\n36in\nq\n")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["D-17"] == {
        "height_above_grade_ft": 9.5,
        "attached": True,
        "has_guard": True,
        "guard_height_in": 36.0,
    }
    assert "Took back has_guard" in done.stderr
    assert known(home) == json.loads(done.stdout)["D-17"]


def test_what_was_answered_before_the_input_ended_is_stored(home):
    assert typed(home, ["ask", "D-17"], "14ft\nyes\n").returncode == 0
    assert known(home) == {"height_above_grade_ft": 14.0, "attached": True}


def test_an_answer_that_does_not_fit_is_asked_again_and_stores_nothing(home):
    done = typed(home, ["ask", "D-17", "--key", "height"], "99 ft\nnine\n9ft\n")
    assert done.returncode == 0
    assert done.stderr.count("How high is the walking surface") == 3
    assert "typing error" in done.stderr
    assert known(home) == {"height_above_grade_ft": 9.0}


def test_a_contradiction_is_named_and_asked_again(home):
    typed(home, ["set", "D-17", "height=3ft"], "")
    done = typed(home, ["ask", "D-17", "--key", "post_height"], "9ft\n2ft\n")
    assert "is more than height_above_grade_ft" in done.stderr
    assert known(home)["post_height_ft"] == 2.0


def test_a_question_mark_explains_with_a_drawing(home):
    done = typed(home, ["ask", "D-17"], "?\nq\n")
    assert "Tape from the top of the boards" in done.stderr
    assert "=====" in done.stderr
    assert known(home) == {}


def test_pointless_questions_are_not_asked(home):
    done = typed(home, ["ask", "D-17"], "9ft\nno\nown-beam\nno\n" + "\n" * 40)
    assert "How high is the guard" not in done.stderr
    assert "What holds the ledger" not in done.stderr
    assert "How many plies" in done.stderr


def test_taking_back_restores_what_was_there_before(home):
    typed(home, ["set", "D-17", "height=9.27"], "")
    typed(home, ["ask", "D-17", "--key", "height", "--key", "species"], "4ft\nu\nq\n")
    assert known(home) == {"height_above_grade_ft": 9.27}


def test_height_is_understood_and_a_slip_names_what_was_meant(home):
    assert typed(home, ["set", "D-17", "height=9ft", "species=SYP"], "").returncode == 0
    assert known(home) == {"height_above_grade_ft": 9.0, "species": "southern-pine"}
    done = typed(home, ["set", "D-17", "heigth=9ft"], "")
    assert done.returncode == 1
    assert "height_above_grade_ft" in done.stderr


@pytest.mark.parametrize("words", [[], ["--wide"]])
def test_a_template_filled_in_comes_back(home, tmp_path, words):
    text = typed(home, ["template", *words], "").stdout
    if words:
        head, row = text.splitlines()
        cells = row.split(",")
        cells[head.split(",").index("height_above_grade_ft")] = "7ft"
        text = f"{head}\n{','.join(cells)}\n"
    else:
        text = text.replace("height_above_grade_ft,,ft", "height_above_grade_ft,7,ft")
    (tmp_path / "sheet.csv").write_text(text)
    done = typed(home, ["read", str(tmp_path / "sheet.csv"), "--json"], "")
    assert json.loads(done.stdout) == {"D-17": {"height_above_grade_ft": 7.0}}, done.stderr


def test_the_unit_column_of_a_template_counts(home, tmp_path):
    (tmp_path / "sheet.csv").write_text("deck,visit,key,value,unit\nD-17,,joist_span_ft,138,in\n")
    typed(home, ["read", str(tmp_path / "sheet.csv")], "")
    assert known(home) == {"joist_span_ft": 11.5}


def test_keys_say_what_reads_them(home):
    rows = json.loads(typed(home, ["keys", "--json"], "").stdout)
    by_key = {row["key"]: row for row in rows}
    assert rows[0]["key"] == "height_above_grade_ft"
    assert by_key["joist_span_ft"]["unit"] == "ft"
    assert "joist-span" in by_key["joist_span_ft"]["read_by"]
    assert "guard-missing" in by_key["height_above_grade_ft"]["read_by"]
