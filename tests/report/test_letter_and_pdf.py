"""The owner's letter stays one page; the PDF fetches nothing and is the same each time."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from importlib.util import find_spec
from typing import Any

import pytest
from report_made import Made, busy_deck, concern, made, summary

from triage.assess.records import Seen
from triage.domain.tiers import CAUTION, TIERS
from triage.errors import BadInput
from triage.library.records import PersonTier
from triage.report.letter import LINES, owner_letter
from triage.report.pdf import fetch_nothing, to_pdf
from triage.report.source import DeckRecord, Options, Source, Stamp
from triage.report.write import make_pack

pytestmark = pytest.mark.skipif(find_spec("weasyprint") is None, reason="the pdf extra is not installed")


def letter_page(one: Made, **options: Any) -> bytes:
    files = make_pack(one.summaries, one.source, Options(letter=True, **options))
    return next(data for name, data in files.items() if name.startswith("letter-"))


def source() -> Source:
    return made(busy_deck()).source


def answered_deck() -> Made:
    summary_, record = busy_deck()
    return made((replace(summary_, unreviewed=0), record))


def test_the_letter_says_what_to_do_what_was_found_and_the_caution() -> None:
    page = letter_page(answered_deck()).decode()
    for words in (
        "Stop using this deck today. Nobody on or under it, and the way to it barred, until the ledger "
        "and the joist hangers are repaired and a named person has lifted the stop.",
        "The ledger hangs on nails.",
        "No photo shows: the beam.",
        "Covered, and not to be seen without opening: the flashing.",
        "A licensed engineer",
        CAUTION,
    ):
        assert words in page
    assert "A post was soft" not in page  # repaired
    assert "Invented Way" not in page
    assert "1 Invented Way" in letter_page(answered_deck(), show_address=True).decode()


@pytest.mark.parametrize("tier", [*TIERS, None])
def test_no_letter_makes_a_promise(tier: str | None) -> None:
    letter = owner_letter(summary("d", tier=tier, tier_if_true=tier), source(), Options(), None)
    text = " ".join([letter.advice, *letter.seen, *letter.not_seen]).lower()
    assert not re.search(r"\b(safe|guarantee\w*|fine|certif\w*|no risk|nothing wrong)\b", text)


def test_a_worse_tier_by_a_person_rules_the_advice_and_a_milder_one_does_not() -> None:
    worse = PersonTier("d", "stop-use", "It leans.", "Ada Sample", "2026-05-04T08:00:00+00:00")
    one = summary("d", tier="watch", tier_if_true="watch", tier_by_person=worse)
    stop = "Stop using this deck today."
    assert owner_letter(one, source(), Options(), None).advice.startswith(stop)
    milder = replace(one, tier="stop-use", tier_by_person=replace(worse, tier="watch"))
    assert owner_letter(milder, source(), Options(), None).advice.startswith(stop)


def test_repair_before_use_means_one_thing_everywhere() -> None:
    lead = concern(element="beam", photos=())
    one = summary("d", lead, tier="repair-before-use", tier_if_true="repair-before-use")
    files = make_pack(
        [one], made((one, DeckRecord(private={"due": "2026-06-01"}))).source, Options(letter=True)
    )
    said = "Nobody on or under this deck until the beam is repaired; do it by June 1, 2026."
    assert said in files["report.html"].decode()
    assert said in files["letter-d.html"].decode()
    assert "nobody on or under it until it is repaired" in files["record.html"].decode()
    assert not any(b"gathering" in data for data in files.values())


def long_deck() -> Made:
    name = "An-extremely-long-deck-name-" * 12
    concerns = [
        concern(
            concluded="The ledger hangs on nails and so on " * 12,
            place="joist 4 " * 40,
            rule=f"r-{n}",
            standing="disputed",
            kind="departs-from-today",
            tier="watch",
            call=call,
        )
        for n, call in enumerate(["engineer", "contractor", "building official"] * 14)
    ]
    coverage = tuple(
        Seen(f"element-{n}", state, (), None, None, "")
        for n, state in enumerate(["not-seen", "poorly", "concealed"] * 8)
    )
    one = summary(name, *concerns, tier="stop-use", tier_if_true="stop-use", coverage=coverage)
    return made((one, DeckRecord(private={"address": "Invented Way " * 30, "client": "Client " * 40})))


@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_the_letter_of_a_usual_deck_is_one_page(paper: str) -> None:
    from pypdf import PdfReader

    letter = to_pdf(letter_page(answered_deck(), show_address=True, paper=paper))
    assert len(PdfReader(io.BytesIO(letter)).pages) == 1


@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_what_does_not_fit_is_laid_out_on_the_next_page_and_never_cut(paper: str) -> None:
    one = long_deck()
    pack = make_pack(one.summaries, one.source, Options(letter=True, show_address=True, paper=paper))
    page = next(data for name, data in pack.items() if name.startswith("letter-"))
    told = "".join(said_by(to_pdf(page)).split())
    for words in ("The ledger hangs on nails and so on " * 12, "joist 4 " * 40, "Invented Way " * 30):
        assert "".join(words.split()) in told
    assert "\u2026" not in told
    assert f"{42 - LINES} more findings, told in the report." in page.decode()


def said_by(data: bytes) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    return subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=data, capture_output=True, check=True
    ).stdout.decode()


def test_the_pdf_is_the_same_each_time_and_carries_no_date() -> None:
    page = make_pack(made(busy_deck()).summaries, source(), Options())["report.html"]
    first, second = to_pdf(page), to_pdf(page)
    assert first == second
    assert first.startswith(b"%PDF-")
    assert b"/CreationDate" not in first
    assert b"SECRETMAKER" not in first


@pytest.mark.parametrize(
    "url",
    ["http://127.0.0.1/x.png", "https://example.org", "file:///etc/passwd", "ftp://x", "data:text/css,a", ""],
)
def test_the_pdf_fetches_nothing(url: str) -> None:
    with pytest.raises(ValueError, match="fetches nothing"):
        fetch_nothing(url)


def test_a_page_that_asks_for_a_file_gets_none(tmp_path: object) -> None:
    asked = b"<img src='file:///etc/hostname'><link rel=stylesheet href='file:///etc/passwd'><p>words"
    assert to_pdf(asked).startswith(b"%PDF-")


def test_without_the_extra_the_reason_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(BadInput, match="PDF needs WeasyPrint") as caught:
        to_pdf(b"<p>x")
    assert "deck-triage[pdf]" in caught.value.hint


def test_every_page_of_a_draft_says_so() -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    likely = concern(standing="possible", tier="stop-use")
    pair = busy_deck()
    one = made((replace(pair[0], concerns=(*pair[0].concerns, likely)), pair[1]))
    page = make_pack(one.summaries, one.source, Options())["report.html"]
    text = subprocess.run(["pdftotext", "-", "-"], input=to_pdf(page), capture_output=True, check=True).stdout
    pages = text.decode().split("\f")[:-1]
    assert len(pages) >= 2
    assert all("DRAFT" in each for each in pages)


def test_an_issued_letter_bears_number_and_signer() -> None:
    stamp = Stamp("001-abcdef", "2026-05-05", "Ada Sample", "s", "l", "w", "0" * 64)
    letter = owner_letter(summary("d"), source(), Options(), stamp)
    assert letter.signer == "Ada Sample"


def test_making_a_pdf_leaves_half_photos_refused() -> None:
    program = (
        "from PIL import ImageFile; from triage.report.pdf import to_pdf; to_pdf(b'<p>x');"
        "print(ImageFile.LOAD_TRUNCATED_IMAGES)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
