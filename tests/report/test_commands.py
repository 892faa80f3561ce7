"""The commands `report`, `repairs` and `verify --report`: output, exit codes, refusals."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest
from common import answer_everything
from test_library_reports import fill

from triage.cli import run
from triage.library import Library


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("commands")
    with Library.create(root / "lib") as lib:
        fill(lib, root / "photos")
        answer_everything(lib, "Ada Sample")
    return root / "lib"


@pytest.fixture
def lib(filled: Path, tmp_path: Path) -> Path:
    shutil.copytree(filled, tmp_path / "lib")
    return tmp_path / "lib"


ISSUE = [
    "--issue",
    "--signer",
    "Ada Sample",
    "--scope",
    "visual",
    "--limits",
    "no ladder",
    "--weather",
    "dry",
]


def test_report_lists_its_files_as_one_json_document(
    lib: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert run(["report", "--out", str(out), "-L", str(lib), "--json", "--per-deck"]) == 0
    files = json.loads(capsys.readouterr().out)["files"]
    names = [
        "report.html",
        "record.html",
        "said.csv",
        "record-birch-03.html",
        "record-elm-07.html",
        "deck-birch-03.html",
        "deck-elm-07.html",
        "decks.csv",
        "concerns.csv",
        "assessment.json",
    ]
    assert sorted(Path(one).name for one in files) == sorted(names)
    assert all(Path(one).is_file() for one in files)


def test_issue_then_verify_then_a_changed_file(
    lib: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "out/report.html"
    assert run(["report", "birch-03", "--out", str(page.parent), "-L", str(lib), *ISSUE]) == 0
    assert run(["verify", "--report", str(page), "-L", str(lib)]) == 0
    page.write_text(page.read_text().replace("joist 4 of 14", "joist 5 of 14", 1))
    capsys.readouterr()
    assert run(["verify", "--report", str(page), "-L", str(lib), "--json"]) == 3
    (said,) = json.loads(capsys.readouterr().out)["damaged"]
    assert "joist 5 of 14" in said
    assert "joist 4 of 14" in said


@pytest.mark.parametrize(
    ("more", "code", "words"),
    [
        (["--signer", "Ada Sample"], 2, "--signer belongs to --issue"),
        (["--issue"], 1, "with its signer"),
        (["--paper", "legal"], 1, "no paper 'legal'"),
        (["no-such-deck"], 1, "no deck 'no-such-deck'"),
        ([*ISSUE, "--amends", "009-aaaaaa"], 1, "No report 009-aaaaaa"),
    ],
)
def test_refusals(
    lib: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], code: int, words: str
) -> None:
    assert run(["report", "--out", str(tmp_path / "out"), "-L", str(lib), *more]) == code
    assert words in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_the_sheet_goes_out_and_comes_back(
    lib: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "crew.csv"
    assert run(["repairs", "write", str(sheet), "-L", str(lib), "--json"]) == 0
    count = json.loads(capsys.readouterr().out)["rows"]
    with sheet.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == count >= 2
    rows[0] |= {"done": "yes", "by": "Cara Sample"}
    rows[1] |= {"done": "perhaps", "by": "Cara Sample"}
    with sheet.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    assert run(["repairs", "read", str(sheet), "-L", str(lib), "--by", "Ada Sample", "--json"]) == 3
    found = json.loads(capsys.readouterr().out)
    assert found["new"] == 1
    assert len(found["set_aside"]) == 1
    assert run(["repairs", "read", str(sheet), "-L", str(lib)]) == 2  # nobody is named


def test_a_letter_that_may_not_be_written_does_not_stop_the_report(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Library.create(tmp_path / "lib") as lib:
        fill(lib, tmp_path / "photos")
    out = tmp_path / "out"
    words = ["report", "birch-03", "--out", str(out), "-L", str(tmp_path / "lib"), "--letter", "--json"]
    assert run(words) == 3
    captured = capsys.readouterr()
    names = {Path(one).name for one in json.loads(captured.out)["files"]}
    assert "report.html" in names
    assert not [name for name in names if name.startswith("letter-")]
    assert "No letter was written." in captured.err
    assert "deck-triage report --ready" in captured.err
