"""The files of a report: complete, safe, the same bytes each time."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image
from report_made import Made, PaintedPhotos, busy_deck, concern, made, photo, summary

from triage.errors import BadInput
from triage.library.records import PersonTier
from triage.report.source import DeckRecord, Options
from triage.report.write import checked_paper, file_names, make_pack, write_pack


def html_of(one: Made, **changes: object) -> str:
    options = changes.pop("options", Options())
    options = replace(options, full=True)  # the record is bound in, so that one page holds everything
    return make_pack(one.summaries, one.source, options, **changes)["report.html"].decode()  # type: ignore[arg-type]


class Seen(HTMLParser):
    """Collects tags, attributes and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data + " "


def test_one_self_contained_file_that_asks_for_nothing() -> None:
    seen = Seen(html_of(made(busy_deck())))
    names = {tag for tag, _ in seen.tags}
    assert not names & {"link", "iframe", "object", "embed", "form", "base"}
    for tag, attrs in seen.tags:
        for name in ("src", "href", "action", "data", "srcset", "poster"):
            value = attrs.get(name)
            assert value is None or value.startswith(("data:image/jpeg;base64,", "#")), (tag, name, value)
    policy = next(a["content"] for t, a in seen.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert policy.startswith("default-src 'none'")
    assert "url(" not in html_of(made(busy_deck()))


def test_the_only_script_of_a_report_is_the_small_viewer_known_by_its_hash() -> None:
    page = html_of(made(busy_deck()))
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert len(scripts) == 1
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'\"" in page
    assert not re.search(
        r"https?://(?!www\.w3\.org/2000/svg)|fetch|XMLHttp|eval|Storage|import\b", scripts[0]
    )
    assert len(scripts[0]) < 40_000


def test_the_same_records_give_the_same_bytes() -> None:
    first = make_pack(made(busy_deck()).summaries, made(busy_deck()).source, Options(per_deck=True))
    second = make_pack(made(busy_deck()).summaries, made(busy_deck()).source, Options(per_deck=True))
    assert first == second
    assert set(first) == {
        "report.html",
        "record.html",
        "deck-birch-03.html",
        "record-birch-03.html",
        "said.csv",
        "decks.csv",
        "concerns.csv",
        "assessment.json",
    }


def test_no_picture_carries_anything_but_pixels() -> None:
    page = html_of(made(busy_deck()))
    uris = re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", page)
    assert len(uris) >= 3
    for uri in uris:
        data = base64.b64decode(uri)
        assert b"SECRETMAKER" not in data
        with Image.open(io.BytesIO(data)) as image:
            image.load()
            assert not image.getexif()
            assert not {"exif", "comment", "icc_profile", "xmp"} & set(image.info)


def test_a_blackout_is_painted_into_every_picture_of_the_photo() -> None:
    one = made(busy_deck())
    shown = one.summaries[0].concerns[0].photos[0]
    source = replace(one.source, blackouts={shown: [(0.2, 0.3, 0.3, 0.1)]})
    from triage.report.pictures import Pictures

    pictures = Pictures(source.provider, source.blackouts)
    for picture in (
        pictures.printed(shown, 86),
        pictures.thumb(shown),
        pictures.crop(shown, (0.2, 0.3, 0.3, 0.1)),
    ):
        assert picture is not None
        data = base64.b64decode(picture.uri.partition(",")[2])
        with Image.open(io.BytesIO(data)) as image:
            pixels = image.convert("L")
            x, y = (0.35, 0.35) if picture.marks == () else (0.5, 0.5)
            assert pixels.getpixel((int(x * image.width), int(y * image.height))) < 12


HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7*7 }}{% raw %}",
    "</style><b>",
    "a\x00b\x1b[31mc\u202egpj",
    "=HYPERLINK(1)",
)


@pytest.mark.parametrize("word", HOSTILE)
def test_hostile_words_stay_words(word: str) -> None:
    record = DeckRecord(
        photos=(replace(photo("d", "x.jpg"), name=word, deck=word),), private={"address": word}
    )
    sha = record.photos[0].sha
    bad = concern(concluded=word, why=word, repair=word, place=word, source=word, call=word, photos=(sha,))
    one = made((summary(word, bad, reason=word, tier="stop-use", tier_if_true="stop-use"), record))
    page = html_of(one, options=Options(show_address=True))
    seen = Seen(page)
    plain = Seen(
        html_of(
            made(
                (
                    summary(
                        "d",
                        concern(photos=(sha,), place="p"),
                        reason="r",
                        tier="stop-use",
                        tier_if_true="stop-use",
                    ),
                    record,
                )
            )
        )
    )
    assert {tag for tag, _ in seen.tags} <= {tag for tag, _ in plain.tags}
    assert not any(name.startswith("on") for _, attrs in seen.tags for name in attrs)
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", page)
    if word.startswith(("{{", "<script")):
        assert word in seen.text


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r=", "\uff1d", "'"])
def test_no_csv_cell_starts_a_formula(start: str) -> None:
    # OWASP, 'CSV Injection': =, +, -, @, tab and carriage return begin a formula (read)
    word = f"{start}1+cmd|' /C calc'!A0"
    bad = concern(place=word, why=word, concluded=word)
    one = made((summary(word, bad, reason=word), DeckRecord()))
    files = make_pack(one.summaries, one.source, Options())
    for name in ("decks.csv", "concerns.csv"):
        rows = list(csv.reader(io.StringIO(files[name].decode())))
        assert not [cell for row in rows for cell in row if cell[:1] in "=+-@\t\r\uff1d" and cell]
        assert any(cell.startswith("'") for row in rows for cell in row)


def test_json_carries_the_assessment_and_no_nan() -> None:
    one = made(busy_deck())
    body = json.loads(make_pack(one.summaries, one.source, Options())["assessment.json"])
    assert body["decks"] == json.loads(json.dumps([one.summaries[0].to_json()]))
    assert body["draft"] is True, "three questions of this deck are open"
    assert body["head"]["0" * 32]["seq"] == 42


def test_addresses_and_positions_only_where_asked() -> None:
    pair = busy_deck()
    record = replace(pair[1], positions={shot.sha: "12.34567, 8.90123" for shot in pair[1].photos})
    one = made((pair[0], record))
    quiet = make_pack(one.summaries, one.source, Options(per_deck=True))
    for name, data in quiet.items():
        assert b"Invented Way" not in data, name
        assert b"Client One" not in data, name
        assert b"12.34567" not in data, name
    told = make_pack(one.summaries, one.source, Options(show_address=True, show_position=True))
    assert b"1 Invented Way" in told["report.html"]
    assert b"1 Invented Way" in told["decks.csv"]
    assert b"12.34567" in told["record.html"]


def draft_pair() -> Made:
    likely = concern(standing="possible", tier="stop-use")
    return made(
        (summary("d-1", likely, tier="watch", tier_if_true="stop-use", unreviewed=4), DeckRecord()),
        (summary("d-2"), DeckRecord()),
    )


@pytest.mark.parametrize(
    ("waiting", "line"),
    [
        (0, ""),
        (1, "1 photo is not assigned to a deck yet and not counted here."),
        (3, "3 photos are not assigned to a deck yet and not counted here."),
    ],
)
def test_a_draft_says_how_many_photos_wait_for_a_deck_and_a_page_given_away_never_does(waiting, line) -> None:
    one = draft_pair()
    source = replace(one.source, waiting=waiting)
    files = make_pack(one.summaries, source, Options(per_deck=True))
    said = {name: Seen(data.decode()).text for name, data in files.items() if name.endswith(".html")}
    assert said["report.html"].count("not assigned to a deck yet") == bool(line)
    assert line in said["report.html"]
    alone = [text for name, text in said.items() if name != "report.html"]
    assert len(alone) > 1
    assert not any("not assigned to a deck yet" in text for text in alone)
    assert json.loads(files["assessment.json"])["photos_waiting_for_a_deck"] == waiting


def test_every_page_says_draft_while_serious_suggestions_are_unreviewed() -> None:
    page = html_of(draft_pair(), options=Options(per_deck=True))
    parts = len(re.findall(r'<(?:header class="plan|section class="deck)', page))
    assert page.count('<p class="draft">DRAFT') == parts == 6
    assert 'content: "DRAFT' in page
    with pytest.raises(BadInput, match="letter cannot be written while the report is a DRAFT"):
        make_pack(draft_pair().summaries, draft_pair().source, Options(letter=True))


@pytest.mark.parametrize(
    ("standing", "tier", "printed", "draft"),
    [
        ("possible", "repair-this-season", "stop-use", True),
        ("possible", "watch", "watch", False),
        ("possible", "watch", "nothing-seen", True),
        ("possible", "watch", None, True),
        ("seen-by-person", "stop-use", "stop-use", False),
        ("disputed", "stop-use", "stop-use", False),
    ],
)
def test_what_makes_a_draft(standing: str, tier: str, printed: str | None, draft: bool) -> None:
    only = concern(standing=standing, tier=tier)
    one = made((summary("d", only, tier=printed, tier_if_true=tier), DeckRecord()))
    assert ("DRAFT" in html_of(one)) is draft


def test_paper_never_prints_the_tier_of_a_guess_as_the_tier() -> None:
    page = html_of(draft_pair())
    first = page[page.index("<header") : page.index("</header>")]
    assert "stop use" not in first
    assert "If the machine&#39;s suggestions prove right: stop use" in page


def test_not_enough_seen_is_said_and_never_fine() -> None:
    page = html_of(made((summary("d", tier=None, tier_if_true=None, gaps="serious"), DeckRecord())))
    assert "not enough seen or reviewed to say" in page
    assert "This does not say that there is none" in page


def test_a_photo_that_cannot_be_read_is_said() -> None:
    pair = busy_deck()
    gone = frozenset(shot.sha for shot in pair[1].photos)
    one = Made([pair[0]], {pair[0].deck: pair[1]}, PaintedPhotos(gone))
    page = html_of(one)
    assert "The photo cannot be shown." in page
    assert "data:image/jpeg" not in page


def test_no_deck_at_all() -> None:
    page = html_of(Made([], {}))
    assert "holds no deck" in page


def test_file_names_are_safe_and_unique(tmp_path: Path) -> None:
    names = ["../../etc/passwd", "a/b", "a-b", "A-B", "дек", "\u05d3\u05e7", "x" * 300, "CON"]
    one = made(*((summary(name), DeckRecord()) for name in names))
    pack = make_pack(one.summaries, one.source, Options(per_deck=True))
    files = write_pack(pack, tmp_path / "out")
    per_deck = [file for file in files if file.name.startswith("deck-")]
    assert len(per_deck) == len(names)
    assert all(file.parent == tmp_path / "out" for file in files)
    assert all(re.fullmatch(r"[a-z0-9.-]{1,90}", file.name) for file in files)
    assert len({file.name.lower() for file in files}) == len(files)
    assert file_names([]) == []


def test_paper_sizes() -> None:
    assert (checked_paper("Letter"), checked_paper("a4")) == ("letter", "A4")
    with pytest.raises(BadInput, match="no paper 'legal'"):
        checked_paper("legal")
    assert "@page { size: A4;" in html_of(made(busy_deck()), options=Options(paper="A4"))


def test_a_finding_without_a_photo_never_borrows_that_of_another():
    deck, record = busy_deck()
    pictured = next(one for one in deck.concerns if one.photos)
    told = concern(rule="told-as-a-fact", tier="stop-use", concluded="The deck hangs on a bay.", photos=())
    page = html_of(made((replace(deck, concerns=(told, pictured)), record)))
    cards = page[page.index('class="cards"') : page.index("What was not seen")].split('class="card"')[1:]
    assert ["The deck hangs on a bay." in card for card in cards] == ["No photo" in card for card in cards]
    assert sum("<img" in card for card in cards) == 1


def test_a_photo_is_printed_once_where_two_findings_share_it():
    deck, record = busy_deck()
    sha = record.photos[0].sha
    pair = tuple(concern(rule=f"r-{n}", concluded=f"Finding {n}.", photos=(sha,)) for n in (1, 2))
    page = html_of(made((replace(deck, concerns=pair), record)))
    assert page.count("<img") == 1
    assert "The photo of finding 1 shows this as well." in page
    assert "Photo 1 is printed with finding 1 on the first page of this deck." in page


def test_names_of_people_are_private_unless_asked_for():
    deck, record = busy_deck()
    said = PersonTier("birch-03", "watch", "It is low.", "Ben Sample", "2026-05-04T08:00:00+00:00")
    one = replace(deck, tier_by_person=said, reason="Ben Sample put it at 'watch': It is low.", unreviewed=0)
    warned = replace(record.warnings[0], told="Dora Sample of 1 Invented Way")
    both = made((one, replace(record, warnings=(*record.warnings, warned), person_tier=said)))
    quiet = make_pack(both.summaries, both.source, Options(per_deck=True, letter=True))
    for name, data in quiet.items():
        assert b"Sample" not in data, name
        assert b"Invented" not in data, name
    assert b"reviewer 2 put" in quiet["assessment.json"].lower()
    assert b"a person whose name is kept private" in quiet["record.html"]
    told = make_pack(both.summaries, both.source, Options(show_names=True))
    assert b"Ben Sample" in told["record.html"]
    assert b"Dora Sample" in told["report.html"]


def test_the_tables_carry_the_caution_in_every_row() -> None:
    from triage.domain.tiers import CAUTION

    one = made(busy_deck())
    files = make_pack(one.summaries, one.source, Options())
    for name in ("decks.csv", "concerns.csv"):
        rows = list(csv.DictReader(io.StringIO(files[name].decode())))
        assert rows
        assert {row["caution"] for row in rows} == {CAUTION}
