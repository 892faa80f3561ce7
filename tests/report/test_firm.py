"""Firm and dates: from `firm.toml`, refused with file and key where wrong, kept with an issued report."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from common import answer_everything
from report_made import concern, made, summary
from test_library_reports import ISSUE, fill

from triage.assess import assess_library
from triage.assess.said import set_private
from triage.cli import run
from triage.errors import BadInput
from triage.library import Library, queries
from triage.library.backup import backup, restore
from triage.report import hash_only, verify_report, write_report
from triage.report.advice import NO_DATE, advice, due_date
from triage.report.firm import FIRM_FILE, Firm, firm_from_text, firm_of
from triage.report.issuing import write_again
from triage.report.source import DeckRecord

GOOD = """
name = "Sample Deck Inspections (invented)"
inspector = "A. Sample"
phone = "555-0100"
[call]
engineer = "B. Sample, P.E., 555-0101"
[due_days]
repair-before-use = 14
"""


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("firm")
    with Library.create(root / "lib") as lib:
        fill(lib, root / "photos")
    (root / "lib" / FIRM_FILE).write_text(GOOD)
    return root / "lib"


@pytest.fixture
def lib(filled: Path, tmp_path: Path) -> Iterator[Library]:
    shutil.copytree(filled, tmp_path / "lib")
    with Library.open(tmp_path / "lib") as library:
        yield library


def test_the_firm_is_read_and_kept_as_text(tmp_path: Path) -> None:
    (tmp_path / FIRM_FILE).write_text(GOOD)
    firm = firm_of(tmp_path)
    assert (firm.inspector, firm.call["engineer"], firm.due_days) == (
        "A. Sample",
        "B. Sample, P.E., 555-0101",
        {"repair-before-use": 14},
    )
    assert firm_from_text(firm.to_text()) == firm
    assert firm_of(tmp_path / "none") == firm_of(None) == Firm()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name = 3", "name must be text"),
        ("nmae = 'x'", "'nmae' is not a known key"),
        ("[call]\nplumber = 'x'", "'call.plumber' is not a known key"),
        ("[due_days]\nwatch = 0", "due_days.watch must be a whole number of days"),
        ("[due_days]\nstop-use = 3", "'due_days.stop-use' is not a known key"),
        ("call = 'x'", r"\[call\] must be a table"),
        ("name = ", "cannot be read"),
    ],
)
def test_a_wrong_firm_file_is_refused_with_file_and_key(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / FIRM_FILE).write_text(text)
    with pytest.raises(BadInput, match=words) as caught:
        firm_of(tmp_path)
    assert FIRM_FILE in str(caught.value)


def test_the_date_due_is_the_decks_own_else_the_firms_days_else_to_be_agreed() -> None:
    one = summary("d", concern(element="beam"), tier="repair-before-use", tier_if_true="repair-before-use")
    firm, bare = Firm(due_days={"repair-before-use": 14}), DeckRecord()
    assert due_date(one, bare, firm) == "May 17, 2026"  # 14 days from the visit on May 3, 2026
    assert due_date(one, DeckRecord(private={"due": "2026-06-01"}), firm) == "June 1, 2026"
    assert due_date(one, bare, Firm()) == ""
    assert f"do it by {NO_DATE}." in advice(one, "", made((one, bare)).source.element_of)
    stop = summary("d", concern(tier="stop-use"), tier="stop-use", tier_if_true="stop-use")
    assert due_date(stop, DeckRecord(private={"due": "2026-06-01"}), firm) == "today"


def test_the_report_names_the_firm_and_stays_true_when_the_file_changes(lib: Library, tmp_path: Path) -> None:
    set_private(lib, "birch-03", {"due": "2026-06-01"}, by="Ada Sample")
    answer_everything(lib, "Ada Sample")
    write_report(lib, assess_library(lib), tmp_path / "out", issue=ISSUE)
    page = tmp_path / "out/report.html"
    for words in (
        "Sample Deck Inspections (invented)",
        "Inspector: <bdi>A. Sample",
        "555-0100",
        "June 1, 2026",
    ):
        assert words in page.read_text()
    (lib.path / FIRM_FILE).write_text('name = "Another firm"\n')
    for file in ("report.html", "record.html"):
        assert verify_report(lib, tmp_path / "out" / file) == []
        assert hash_only(lib, tmp_path / "out" / file) == ""
    number = str(queries.statements(lib, "issued")[-1].payload["number"])
    write_again(lib, number, tmp_path / "again")
    assert (tmp_path / "again/report.html").read_bytes() == page.read_bytes()
    page.write_text(page.read_text().replace("June 1, 2026", "June 9, 2026", 1))
    assert "June 9, 2026" in " ".join(map(str, verify_report(lib, page)))


def test_a_report_of_an_earlier_layout_is_checked_by_its_hash(
    lib: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answer_everything(lib, "Ada Sample")
    with monkeypatch.context() as patch:
        patch.setattr("triage.report.issuing.LAYOUT", 1)
        write_report(lib, assess_library(lib), tmp_path / "out", issue=ISSUE)
    page = tmp_path / "out/report.html"
    assert verify_report(lib, page) == []
    assert "by an earlier version" in hash_only(lib, page)
    assert run(["verify", "--report", str(page), "-L", str(lib.path)]) == 0
    assert "sentences were not made again" in capsys.readouterr().err
    page.write_text(page.read_text().replace("birch-03", "birch-04"))
    (found,) = verify_report(lib, page)
    assert "not the file that was issued" in str(found)
    assert run(["verify", "--report", str(page), "-L", str(lib.path)]) == 3


def test_the_firm_travels_in_a_backup(lib: Library, tmp_path: Path) -> None:
    backup(lib, tmp_path / "kept.zip")
    restore(tmp_path / "kept.zip", tmp_path / "again")
    assert (tmp_path / "again" / FIRM_FILE).read_text() == GOOD


def test_a_date_is_set_by_the_command_and_a_wrong_one_is_refused(
    lib: Library, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["-L", str(lib.path), "--by", "Ada Sample"]
    assert run(["deck", "set", "birch-03", "--due", "2026-06-01", *where]) == 0
    assert queries.deck_private(lib, "birch-03")["due"] == "2026-06-01"
    assert run(["deck", "set", "birch-03", "--due", "soon", *where]) == 1
    assert "'soon' is not a date" in capsys.readouterr().err


def test_the_terminal_prints_one_line_a_deck_and_more_where_asked(
    lib: Library, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["-L", str(lib.path)]
    for words in (["assess"], ["decks"]):
        assert run([*words, *where]) == 0
        out = capsys.readouterr().out
        (line,) = [each for each in out.splitlines() if "birch-03" in each]
        assert "up to 10 ft high" in line
        assert "go back for" not in out
    for words in (["assess", "birch-03"], ["assess", "--full"]):
        assert run([*words, *where]) == 0
        assert "go back for" in capsys.readouterr().out


def test_the_plan_is_written_alone_and_never_issued(
    lib: Library, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["-L", str(lib.path), "--out", str(tmp_path / "plan")]
    assert run(["report", "--plan", *where]) == 0
    assert [file.name for file in (tmp_path / "plan").iterdir()] == ["plan.html"]
    page = (tmp_path / "plan/plan.html").read_text()
    assert "Close or repair first: 2 decks" in page
    assert "Invented Way" not in page
    assert run(["report", "--plan", "--show-address", *where]) == 0
    assert "1 Invented Way" in (tmp_path / "plan/plan.html").read_text()
    assert verify_report(lib, tmp_path / "plan/plan.html") == []
    signed = ["--issue", "--signer", "A", "--scope", "s", "--limits", "l", "--weather", "w"]
    assert run(["report", "--plan", *where, *signed]) == 2
    assert queries.statements(lib, "issued") == []
