"""Reports from a real library: issued, amended, flagged, checked against the library alone."""

from __future__ import annotations

import hashlib
import io
import json
import random
import re
import shutil
import subprocess
from collections.abc import Iterator
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from common import answer_everything, draw_photo
from test_compare import MUTATIONS

from triage.assess import assess_library, assess_once, evidence
from triage.assess.acts import set_tier
from triage.assess.said import add_finding, set_private
from triage.domain.acts import Refused
from triage.errors import BadInput, Cancelled
from triage.ingest import ingest
from triage.ingest.moving import forget, move
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.report import Issue, black_out, changed_since, verify_report, write_report
from triage.report.compare import compare_pages, read_page
from triage.report.issuing import issued_event, rederive

ISSUE = Issue("Ada Sample", "all that can be seen from the ground", "no ladder", "dry", date="2026-05-05")
SIGNED = {"by": "Ada Sample", "at": "2026-05-03T12:00:00+00:00"}


def fill(lib: Library, folder: Path) -> None:
    for deck in ("birch-03", "elm-07"):
        for number in range(4):
            draw_photo(
                folder / deck / f"IMG_{number}.jpg",
                seed=hash_of(deck, number),
                exif={"taken_at": "2026:05:03 10:22:31", "gps": (12.5, 8.25)},
            )
    ingest(lib, [folder], by="Ada Sample", visit="2026-05-03", engine="here")
    one, two, *_ = queries.photos(lib, "birch-03")
    give_labels(
        lib,
        [(one, {"missing-hanger": "present"})],
        boxes=[(0.2, 0.3, 0.2, 0.2)],
        count=2,
        place="joist 4 of 14 from the left, house side",
        **SIGNED,
    )
    give_labels(lib, [(two, {"debris-at-flashing": "present", "shows-flashing": "present"})], **SIGNED)
    add_finding(lib, "elm-07", tier="repair-this-season", text="The deck bounces.", by="Ben Sample")
    for key, value in (("height_above_grade_ft", 8.0), ("deck_width_ft", 16.0)):
        lib.say(
            "fact", {"deck": "birch-03", "visit": "2026-05-03", "key": key, "value": value}, by="Ada Sample"
        )
    set_private(lib, "birch-03", {"address": "1 Invented Way"}, by="Ada Sample")


def hash_of(deck: str, number: int) -> int:
    return len(deck) * 100 + number


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("filled")
    with Library.create(root / "lib") as lib:
        fill(lib, root / "photos")
    return root / "lib"


@pytest.fixture
def lib(filled: Path, tmp_path: Path) -> Iterator[Library]:
    shutil.copytree(filled, tmp_path / "lib")
    with Library.open(tmp_path / "lib") as library:
        yield library


def issue(lib: Library, out: Path, wish: Issue = ISSUE, **options: bool) -> Path:
    answer_everything(lib, "Ada Sample")
    write_report(lib, assess_library(lib), out, issue=wish, **options)
    return out / "report.html"


def number_of(lib: Library, at: int = -1) -> str:
    return str(queries.statements(lib, "issued")[at].payload["number"])


def test_the_same_library_gives_the_same_bytes(lib: Library, tmp_path: Path) -> None:
    first = write_report(lib, assess_library(lib), tmp_path / "a", per_deck=True)
    shutil.rmtree(lib.caches)
    second = write_report(lib, assess_library(lib), tmp_path / "b", per_deck=True)
    assert [one.name for one in first] == [one.name for one in second]
    assert [one.read_bytes() for one in first] == [one.read_bytes() for one in second]


def test_position_and_address_stay_private_unless_asked(lib: Library, tmp_path: Path) -> None:
    answer_everything(lib, "Ada Sample")
    for file in write_report(lib, assess_library(lib), tmp_path / "a", per_deck=True, letter=True):
        assert b"12.5000" not in file.read_bytes()
        assert b"Invented Way" not in file.read_bytes()
    write_report(lib, assess_library(lib), tmp_path / "b", show_position=True, show_address=True)
    page = (tmp_path / "b/report.html").read_bytes()
    assert b"12.50000, 8.25000" in (tmp_path / "b/record.html").read_bytes()
    assert b"1 Invented Way" in page


def test_an_issued_report_carries_number_signer_and_hashes(lib: Library, tmp_path: Path) -> None:
    issue(lib, tmp_path / "out", letter=True, per_deck=True)
    page = "".join((tmp_path / "out" / name).read_text() for name in ("report.html", "record.html"))
    payload = queries.statements(lib, "issued")[0].payload
    for words in (
        payload["number"],
        "Ada Sample",
        "May 5, 2026",
        "no ladder",
        "dry",
        payload["assessment_hash"],
    ):
        assert words in page
    for photo in queries.photos(lib):
        assert photo.sha in page
        assert hashlib.sha256(lib.original(photo.sha).read_bytes()).hexdigest() == photo.sha
    for name, digest in payload["files"].items():
        assert hashlib.sha256((tmp_path / "out" / name).read_bytes()).hexdigest() == digest
    assert payload["report_hash"] == payload["files"]["report.html"]
    if shutil.which("sha256sum"):
        done = subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=tmp_path / "out", capture_output=True)
        assert done.returncode == 0


def test_the_event_holds_no_private_words(lib: Library, tmp_path: Path) -> None:
    issue(lib, tmp_path / "out")
    (event,) = lib.events("issued")
    text = json.dumps(dict(event.payload))
    for words in ("no ladder", "Ada Sample", "Invented Way", "joist 4"):
        assert words not in text


def test_an_issued_report_is_verified_from_the_library_alone(lib: Library, tmp_path: Path) -> None:
    page = issue(lib, tmp_path / "out", per_deck=True, letter=True)
    (tmp_path / "out/assessment.json").unlink()
    shutil.rmtree(lib.caches)
    for file in (tmp_path / "out").glob("*.html"):
        assert verify_report(lib, file) == []
    renamed = tmp_path / "anything.htm"
    shutil.copy(page, renamed)
    assert verify_report(lib, renamed) == []
    for file in (tmp_path / "out").glob("*.csv"):
        assert verify_report(lib, file) == []


def test_later_words_leave_an_issued_report_true_and_flag_it(lib: Library, tmp_path: Path) -> None:
    page = issue(lib, tmp_path / "out")
    assert changed_since(lib) == []
    one = queries.photos(lib, "birch-03")[0]
    give_labels(lib, [(one, {"missing-hanger": "absent"})], by="Ben Sample")
    assert verify_report(lib, page) == []
    (flag,) = changed_since(lib)
    assert (flag.number, flag.by, flag.photo) == (number_of(lib), "Ben Sample", one.path_name)
    assert "labeled again" in str(flag)
    lib.undo("Ben Sample")
    assert "undo" in str(changed_since(lib)[-1])
    move(lib, [queries.photos(lib, "birch-03")[1]], "oak-11", by="Ben Sample")
    assert "moved" in str(changed_since(lib)[-1])
    assert verify_report(lib, page) == []


def test_a_photo_of_an_issued_report_is_not_forgotten(lib: Library, tmp_path: Path) -> None:
    issue(lib, tmp_path / "out")
    with pytest.raises(BadInput, match="issued report"):
        forget(lib, [queries.photos(lib, "birch-03")[0]], by="Ben Sample")


def test_an_amendment_names_what_changed(lib: Library, tmp_path: Path) -> None:
    issue(lib, tmp_path / "one")
    first = number_of(lib)
    set_tier(lib, "elm-07", "stop-use", why="It leans.", by="Ben Sample")
    give_labels(lib, [(queries.photos(lib, "birch-03")[0], {"missing-hanger": "absent"})], **SIGNED)
    wish = Issue("Ada Sample", "all", "no ladder", "dry", date="2026-05-06", amends=first)
    page = issue(lib, tmp_path / "two", wish)
    text = page.read_text()
    assert f"It amends and replaces report {first}." in text
    assert "Deck elm-07: Ben Sample set the tier &#39;stop use&#39;: It leans." in text
    assert "is gone." in text
    assert number_of(lib) != first
    assert verify_report(lib, page) == []
    assert verify_report(lib, tmp_path / "one/report.html") == []


def test_an_amendment_of_nothing_says_so(lib: Library, tmp_path: Path) -> None:
    issue(lib, tmp_path / "one")
    wish = Issue("Ada Sample", "all", "no ladder", "dry", date="2026-05-06", amends=number_of(lib))
    assert "Nothing in the assessment changed." in issue(lib, tmp_path / "two", wish).read_text()


@pytest.mark.parametrize("field", ["signer", "scope", "limits", "weather"])
def test_issuing_needs_every_field(lib: Library, tmp_path: Path, field: str) -> None:
    wish = Issue(**{**ISSUE.__dict__, field: " "})
    with pytest.raises(BadInput, match=f"with its {field}"):
        issue(lib, tmp_path / "out", wish)
    assert queries.statements(lib, "issued") == []
    assert not (tmp_path / "out").exists()


def test_issuing_refuses_a_foreign_assessment_and_an_unknown_number(lib: Library, tmp_path: Path) -> None:
    answer_everything(lib, "Ada Sample")
    stale = assess_library(lib)
    set_tier(lib, "elm-07", "stop-use", why="It leans.", by="Ben Sample")
    with pytest.raises(BadInput, match="not the one that the library gives"):
        write_report(lib, stale, tmp_path / "out", issue=ISSUE)
    wish = Issue(**{**ISSUE.__dict__, "amends": "999-aaaaaa"})
    with pytest.raises(BadInput, match="No report 999-aaaaaa") as caught:
        write_report(lib, assess_library(lib), tmp_path / "out", issue=wish)
    assert "Issued so far: none" in caught.value.hint
    with pytest.raises(BadInput, match="no deck"):
        write_report(lib, [], tmp_path / "out", issue=ISSUE)


def test_an_issue_reads_and_assesses_each_deck_once(
    lib: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer_everything(lib, "Ada Sample")
    stale = assess_once(lib)
    set_tier(lib, "elm-07", "stop-use", why="It leans.", by="Ben Sample")
    with pytest.raises(BadInput, match="not the one that the library gives"):
        write_report(lib, stale, tmp_path / "out", issue=ISSUE)
    assert queries.statements(lib, "issued") == []
    gathered: list[str] = []
    assessed: list[str] = []
    _count(monkeypatch, evidence._Reading, "evidence", gathered)
    _count(monkeypatch, evidence, "assess_deck", assessed)
    write_report(lib, assess_once(lib), tmp_path / "out", issue=ISSUE)
    assert sorted(gathered) == sorted(assessed) == queries.decks(lib)


def _count(monkeypatch: pytest.MonkeyPatch, where: Any, name: str, decks: list[str]) -> None:
    """Note the deck of every call."""
    before = getattr(where, name)

    def counted(*given: Any, **more: Any) -> Any:
        found = before(*given, **more)
        decks.append(found.deck)
        return found

    monkeypatch.setattr(where, name, counted)


@pytest.fixture
def no_promise(monkeypatch: pytest.MonkeyPatch) -> None:
    """No model file is there; nothing is promised."""
    monkeypatch.setattr("triage.presort.of_library.promise_standing", lambda _: {})


def suggest(lib: Library, pile: str = "likely", probability: float = 0.93) -> None:
    lib.say("trained", {"model": "f" * 64, "tags": ["nail-only-ledger"]}, by="Ada Sample")
    keep_suggestions(
        lib,
        (
            Suggestion(
                photo.sha, "nail-only-ledger", "f" * 64, 2.0, probability, pile, ((0.1, 0.1, 0.2, 0.2),)
            )
            for photo in queries.photos(lib, "birch-03")[2:]
        ),
    )


@pytest.mark.usefixtures("no_promise")
def test_a_draft_is_neither_issued_nor_sent_to_the_owner(lib: Library, tmp_path: Path) -> None:
    suggest(lib)
    with pytest.raises(Refused, match="cannot be issued: nobody has"):
        write_report(lib, assess_library(lib), tmp_path / "out", issue=ISSUE)
    with pytest.raises(Refused, match="letter cannot be written"):
        write_report(lib, assess_library(lib), tmp_path / "out", letter=True)
    assert not (tmp_path / "out").exists()
    write_report(lib, assess_library(lib), tmp_path / "draft")
    assert "DRAFT" in (tmp_path / "draft/report.html").read_text()
    assert verify_report(lib, tmp_path / "draft/report.html") == []


def test_what_the_machine_said_is_frozen_with_the_report(
    lib: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr("triage.presort.of_library.promise_standing", lambda _: {})
        suggest(lib, pile="unsure", probability=0.3)
        page = issue(lib, tmp_path / "out")
    assert not lib.model_dir.exists()  # from here on the model cannot be read at all
    suggest(lib, pile="likely", probability=0.99)
    assert verify_report(lib, page) == []


def test_a_working_copy_is_verified_at_its_head(lib: Library, tmp_path: Path) -> None:
    write_report(lib, assess_library(lib), tmp_path / "out")
    page, head = tmp_path / "out/report.html", lib.head()[lib.log_id]["hash"]
    assert verify_report(lib, page) == []
    set_tier(lib, "elm-07", "stop-use", why="It leans.", by="Ben Sample")
    assert verify_report(lib, page) == []
    text = page.read_text()
    (digest,) = {hash_ for hash_ in re.findall("[0-9a-f]{64}", text) if hash_ == head}
    for old, new, words in (
        ("&#34;elm-07&#34;", "&#34;elm-09&#34;", "a deck that the library does not know"),
        (digest, "0" * 64, "is another one in the library"),
        ("&#34;head&#34;", "&#34;heat&#34;", "does not say what it was made from"),
        ("paper&#34;:&#34;letter", "paper&#34;:&#34;A4", "the file has 'letter;', the library 'A4;'"),
    ):
        assert old in text, old
        page.write_text(text.replace(old, new, 1))
        assert words in " ".join(map(str, verify_report(lib, page)))


def test_a_foreign_file_is_told_apart(lib: Library, tmp_path: Path) -> None:
    other = tmp_path / "other.html"
    other.write_text("<p>hello")
    with pytest.raises(BadInput, match="does not say what it was made from"):
        verify_report(lib, other)
    with pytest.raises(BadInput, match="cannot be read"):
        verify_report(lib, tmp_path / "missing.html")


def test_a_report_of_another_library_is_refused(lib: Library, tmp_path: Path) -> None:
    with Library.create(tmp_path / "second") as second:
        fill(second, tmp_path / "photos")
        write_report(second, assess_library(second), tmp_path / "out")
    assert "holds no event" in str(verify_report(lib, tmp_path / "out/report.html")[0])


def test_changed_csv_and_json_are_named(lib: Library, tmp_path: Path) -> None:
    issue(lib, tmp_path / "out")
    for name, old in (
        ("concerns.csv", b"missing-hanger"),
        ("decks.csv", b"elm-07"),
        ("assessment.json", b"watch"),
    ):
        file = tmp_path / "out" / name
        file.write_bytes(file.read_bytes().replace(old, b"something", 1))
        found = verify_report(lib, file)
        assert found
        assert name in str(found[0])


def test_single_mutations_of_an_issued_report_through_the_library(lib: Library, tmp_path: Path) -> None:
    page = issue(lib, tmp_path / "out")
    whole, rng = page.read_bytes(), random.Random(5)
    for mutate in MUTATIONS:
        page.write_bytes(mutate(whole, rng)[0])
        assert verify_report(lib, page), mutate.__name__


@pytest.mark.long
def test_a_thousand_single_mutations_against_what_the_library_gives(lib: Library, tmp_path: Path) -> None:
    whole = issue(lib, tmp_path / "out").read_bytes()
    shutil.rmtree(tmp_path / "out")
    expected = rederive(lib, issued_event(lib, number_of(lib))).files["report.html"]
    assert expected == whole
    tokens, rng = read_page(expected), random.Random(6)
    for number in range(1000):
        mutate = MUTATIONS[number % len(MUTATIONS)]
        found = compare_pages(mutate(whole, rng)[0], expected, tokens)
        assert found, mutate.__name__
        assert all(one.where and str(one).endswith(".") for one in found)


def test_a_blackout_said_in_the_library_is_in_the_report(lib: Library, tmp_path: Path) -> None:
    from triage.imaging.blackout import blackouts

    one = queries.photos(lib, "birch-03")[0]
    write_report(lib, assess_library(lib), tmp_path / "before")
    assert black_out(lib, one.path_name, [[0.1, 0.1, 0.3, 0.3]], by="Ada Sample") == [(0.1, 0.1, 0.3, 0.3)]
    write_report(lib, assess_library(lib), tmp_path / "after")
    assert blackouts(lib) == {one.sha: [(0.1, 0.1, 0.3, 0.3)]}
    pictures = [
        set(re.findall('base64,[^"]+', (tmp_path / name / "report.html").read_text()))
        for name in ("before", "after")
    ]
    assert pictures[0] - pictures[1]
    assert verify_report(lib, tmp_path / "after/report.html") == []
    black_out(lib, one.path_name, [], by="Ada Sample")
    assert blackouts(lib) == {}


@pytest.mark.parametrize(
    "box", [[0.1], [0.5, 0.5, 0.6, 0.1], [0, 0, 0, 1], [-0.1, 0, 0.5, 0.5], [0, 0, float("nan"), 1]]
)
def test_a_blackout_lies_in_the_photo(lib: Library, box: list[float]) -> None:
    with pytest.raises(BadInput, match="blackout"):
        black_out(lib, queries.photos(lib, "birch-03")[0].path_name, [box], by="Ada Sample")


def test_a_stopped_report_writes_nothing(lib: Library, tmp_path: Path) -> None:
    told: list[tuple[str, int, int | None]] = []
    write_report(lib, assess_library(lib), tmp_path / "out", progress=lambda *one: told.append(one))
    assert [done for _, done, _ in told] == [1, 2]
    with pytest.raises(Cancelled):
        write_report(lib, assess_library(lib), tmp_path / "no", cancel=lambda: True)
    assert not (tmp_path / "no").exists()


@pytest.mark.skipif(find_spec("weasyprint") is None, reason="the pdf extra is not installed")
def test_an_issued_pdf_is_made_again_byte_for_byte_and_a_changed_word_is_named_with_its_page(
    lib: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pypdf import PdfReader, PdfWriter

    from triage.report import write

    issue(lib, tmp_path / "out", pdf=True)
    file = tmp_path / "out/report.pdf"
    whole = file.read_bytes()
    # drawn once more from the library, then remembered: what is compared from here on is the file
    monkeypatch.setattr(write, "to_pdf", cache(write.to_pdf))
    assert verify_report(lib, file) == []
    data = bytearray(whole)
    data[len(data) // 2] ^= 1
    file.write_bytes(bytes(data))
    assert "another file than the one issued" in str(verify_report(lib, file)[0])
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(whole)))
    writer.remove_page(0)
    writer.write(file)
    other, *changed = map(str, verify_report(lib, file))
    assert "another file than the one issued" in other
    assert changed[0].startswith("report.pdf, page 1: changed line")
    assert "Plan for the next working day" in "".join(changed)
    assert changed[0].endswith("the file nothing.")
    file.write_bytes(file.read_bytes()[:2000])
    assert "no whole PDF" in "\n".join(map(str, verify_report(lib, file)))
    PdfWriter(clone_from=PdfReader(io.BytesIO(whole))).write(file)
    assert "the text is the one issued" in "\n".join(map(str, verify_report(lib, file)))
