"""The printed pages as poppler reads them: how many, nothing cut, nothing empty, the caution where due."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from importlib.util import find_spec

import pytest
from long_runs import LONG
from report_made import Made, busy_deck, concern, fact, made, photo, summary

from triage.assess.records import DeckSummary, Seen
from triage.domain.tiers import CAUTION
from triage.report.pdf import to_pdf
from triage.report.plan import DETAILED
from triage.report.source import DeckRecord, Options, Stamp
from triage.report.write import make_pack

pytestmark = [
    pytest.mark.skipif(find_spec("weasyprint") is None, reason="the pdf extra is not installed"),
    pytest.mark.skipif(
        shutil.which("pdftotext") is None, reason="pdftotext (poppler-utils) is not installed"
    ),
]
PAPERS = ("letter", "A4")
ELEMENTS = (
    "ledger",
    "flashing",
    "hanger",
    "joist",
    "beam",
    "post",
    "footing",
    "guard",
    "stair",
    "whole-deck",
)
HEADINGS = ("What was found", "What was not seen", "What to have done", "Whom to reach", "What these pages")


def said_by(data: bytes) -> list[str]:
    """Return the text of each page."""
    text = subprocess.run(["pdftotext", "-layout", "-", "-"], input=data, capture_output=True, check=True)
    return text.stdout.decode().split("\f")[:-1]


def deck_with_five_photos(name: str = "birch-03") -> tuple[DeckSummary, DeckRecord]:
    """Return a deck as a season brings it: five photos, eight concerns, most parts not seen."""
    _, record = busy_deck(name)
    shots = tuple(photo(name, f"IMG_{number}.jpg") for number in range(1, 6))
    long = "A stretch of the ledger is held by nails alone, more than 30 in above the ground, in place"
    concerns = tuple(
        concern(
            rule=f"rule-{number}",
            tier=("stop-use", "repair-before-use", "repair-this-season", "watch")[number // 2],
            concluded=f"{long} {number}.",
            element=ELEMENTS[number],
            place=f"joist {number} of 14 from the left, facing the house, house side",
            count=number,
            why="Half of the deck's load reaches the house through this board. Nails carry in shear only. "
            * 2,
            repair=f"Bolts or structural screws through the ledger into a sound band ({number}).",
            photos=(shots[number % 5].sha, shots[(number + 1) % 5].sha),
            boxes={shots[number % 5].sha: ((0.2, 0.3, 0.2, 0.2),)},
        )
        for number in range(8)
    )
    coverage = tuple(
        Seen(element, ("not-seen", "poorly", "well")[place % 3], (), place, None, "no photo shows it")
        for place, element in enumerate(ELEMENTS)
    )
    made_summary = summary(
        name,
        *concerns,
        tier="stop-use",
        tier_if_true="stop-use",
        gaps="serious",
        unreviewed=3,
        reason=f"{long}.",
        coverage=coverage,
        go_back_for=tuple(f"{element}: one photo of each side, square on." for element in ELEMENTS),
    )
    return made_summary, replace(record, photos=shots, closings=())


def printed(decks: Made, file: str = "report.html", **options: object) -> list[str]:
    pack = make_pack(decks.summaries, decks.source, Options(**options))  # type: ignore[arg-type]
    return said_by(to_pdf(pack[file]))


def letters(text: str) -> int:
    return sum(char.isalpha() for char in text)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_deck_with_five_photos_is_two_pages_and_a_record_of_at_most_six(paper: str) -> None:
    decks = made(deck_with_five_photos())
    pages = printed(decks, paper=paper)
    assert len(pages) == 2
    assert len(printed(decks, "record.html", paper=paper)) <= 6
    assert "Stop using this deck today." in pages[0]
    assert "What was found" in pages[0]
    for heading in HEADINGS[1:]:
        assert heading in pages[1]
    assert " ".join(CAUTION.split()[:6]) in " ".join(pages[1].split())


def season(count: int) -> Made:
    """Return decks without photos, so that laying them out is quick; the text is that of full ones."""
    pairs = []
    for number in range(count):
        one, record = deck_with_five_photos(f"deck-{number:02d}")
        bare = tuple(replace(each, photos=(), boxes={}) for each in one.concerns[:3])
        tier = ("stop-use", "repair-before-use", None, "nothing-seen")[number % 4]
        kept = bare if tier in ("stop-use", "repair-before-use") else ()
        gaps = "none" if tier == "nothing-seen" else "serious"
        facts = {"height_above_grade_ft": fact(one.deck, "height_above_grade_ft", 8.0)}
        pairs.append(
            (
                replace(
                    one,
                    height_class="to-10-ft",
                    tier=tier,
                    tier_if_true=tier,
                    concerns=kept,
                    gaps=gaps,
                    unreviewed=0 if gaps == "none" else 3,
                    coverage=one.coverage if gaps != "none" else (),
                ),
                replace(record, photos=(), facts=facts),
            )
        )
    return made(*pairs)


@pytest.mark.parametrize("paper", PAPERS)
def test_twenty_decks_are_planned_on_two_pages(paper: str) -> None:
    pages = printed(season(DETAILED), "plan.html", paper=paper, plan=True)
    assert len(pages) == 2
    text = " ".join(" ".join(pages).split())
    for number in range(DETAILED):
        assert f"deck-{number:02d}" in text
    for title in ("Close or repair first: 10 decks", "Go and see: 5 decks", "Nothing further known: 5 decks"):
        assert title in text
    assert "nobody yet" not in text  # busy decks carry a warning
    assert "Told: the owner, May 3, 2026," in text
    assert "up to 10 ft high" in text


@pytest.mark.long
def test_forty_eight_decks_are_at_most_110_pages() -> None:
    pages = printed(season(48))
    assert len(pages) <= 110
    check_pages(pages)


def check_pages(pages: Sequence[str]) -> None:
    for number, page in enumerate(pages, start=1):
        lines = [line.strip() for line in page.splitlines() if line.strip()]
        body = [line for line in lines if "not issued" not in line and not re.match(r"page \d+ of", line)]
        assert letters(" ".join(body)) > 80, f"page {number} is almost empty"
        assert body[-1] not in HEADINGS, f"page {number} ends with a heading"
        assert "\u2026" not in page
        assert not re.search(r"\b[a-z]+_[a-z_]+\b", page), f"page {number} prints a key"
        assert not re.search(r"\d\d:\d\d:\d\d\.\d", page), f"page {number} prints fractions of a second"


@pytest.mark.parametrize("paper", PAPERS)
def test_no_page_is_empty_no_label_is_parted_and_no_key_is_printed(paper: str) -> None:
    decks = made(deck_with_five_photos(), deck_with_five_photos("elm-07"))
    for file in ("report.html", "record.html"):
        check_pages(printed(decks, file, paper=paper))
    if paper == PAPERS[0] or LONG:
        check_pages(printed(decks, full=True, paper=paper))


def test_every_cited_photo_is_printed_once() -> None:
    one, record = deck_with_five_photos()
    decks = made((one, record))
    pack = make_pack(decks.summaries, decks.source, Options())
    full = make_pack(decks.summaries, decks.source, Options(full=True))["report.html"].decode()
    for page in (pack["record.html"].decode(), full):
        assert page.count("<img") == len(record.photos)
        for shot in record.photos:
            assert len(re.findall(rf"<strong>Photo \d</strong>: <bdi>{shot.name}", page)) == 1
    uris = re.findall(r'src="(data:[^"]+)"', full)
    assert len(uris) == len(set(uris))


@pytest.mark.parametrize(
    "file", ["report.html", "record.html", "plan.html", "deck-elm-07.html", "record-elm-07.html"]
)
def test_what_stands_alone_carries_the_caution(file: str) -> None:
    decks = made(deck_with_five_photos(), deck_with_five_photos("elm-07"))
    pack = make_pack(decks.summaries, decks.source, Options(per_deck=True, plan=file == "plan.html"))
    page = pack[file].decode()
    assert page.count(CAUTION) >= page.count('<section class="deck') >= (0 if file == "plan.html" else 1)
    assert CAUTION in page


def test_the_pdf_is_titled_tagged_bookmarked_and_says_its_language() -> None:
    pypdf = pytest.importorskip("pypdf")
    import io

    decks = made(deck_with_five_photos(), deck_with_five_photos("elm-07"))
    stamp = Stamp("001-abcdef", "2026-05-05", "Ada Sample", "visual", "no ladder", "dry", "0" * 64)
    pack = make_pack(decks.summaries, decks.source, Options(), stamp=stamp)
    reader = pypdf.PdfReader(io.BytesIO(to_pdf(pack["report.html"])))
    assert reader.metadata is not None
    assert reader.metadata.title == "Report on 2 decks, report 001-abcdef"
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    titles = [one.title for one in reader.outline if not isinstance(one, list)]
    assert {"Deck birch-03", "Deck elm-07"} <= {re.sub("[\u2068\u2069]", "", one) for one in titles}
    assert "alt=" in pack["report.html"].decode()
    assert not re.search(r"<img(?![^>]*alt=\"[^\"]+\")", pack["report.html"].decode())


def test_pictures_hold_no_more_pixels_than_their_size_on_paper_can_show() -> None:
    decks = made(deck_with_five_photos(), deck_with_five_photos("elm-07"))
    page = make_pack(decks.summaries, decks.source, Options(full=True))["report.html"].decode()
    found = re.findall(
        r'class="fit" style="width: ([\d.]+)mm"><div class="photo"><img [^>]*width="(\d+)"', page
    )
    assert found
    for wide_mm, width_px in found:
        assert (
            int(width_px) <= float(wide_mm) / 25.4 * 200 * 1.36
        )  # a portrait photo is bounded by its height
