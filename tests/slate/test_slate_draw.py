"""The PDF of cards: vector, repeatable, and clear words for what cannot be drawn."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from triage.errors import BadInput
from triage.slate.card import Card
from triage.slate.draw import printable, qr_cells, write_cards

LIBRARY = "3fa9c1d2"


def test_the_same_cards_give_the_same_bytes_and_no_pictures(tmp_path: Path) -> None:
    cards = [Card(LIBRARY, "D-17", "2026-05-04"), Card(LIBRARY, "D-17", "2026-05-04", closing=True)]
    for name in ("a.pdf", "b.pdf"):
        write_cards(tmp_path / name, cards, {"D-17": ["ledger, whole length"]})
    data = (tmp_path / "a.pdf").read_bytes()
    assert data == (tmp_path / "b.pdf").read_bytes()
    assert b"/Subtype /Image" not in data
    assert len(re.findall(rb"/Type /Page\b", data)) == 4


@pytest.mark.parametrize(
    ("paper", "width", "height"), [("letter", 792, 612), ("a4", 841.89, 595.28), ("pocket", 612, 792)]
)
def test_pages_have_the_size_of_the_sheet(tmp_path: Path, paper: str, width: float, height: float) -> None:
    write_cards(tmp_path / "card.pdf", [Card(LIBRARY, "D-17", paper=paper)])
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", (tmp_path / "card.pdf").read_bytes())
    assert box is not None
    assert float(box[1]) == pytest.approx(width, abs=0.01)
    assert float(box[2]) == pytest.approx(height, abs=0.01)


def test_two_pocket_cards_share_a_sheet(tmp_path: Path) -> None:
    cards = [Card(LIBRARY, f"D-{n}", paper="pocket") for n in range(3)]
    write_cards(tmp_path / "card.pdf", cards)
    assert len(re.findall(rb"/Type /Page\b", (tmp_path / "card.pdf").read_bytes())) == 4


def test_what_cannot_be_drawn_is_refused_with_its_name(tmp_path: Path) -> None:
    path = tmp_path / "card.pdf"
    with pytest.raises(BadInput, match="No deck was named"):
        write_cards(path, [])
    with pytest.raises(BadInput, match="must be of one size: a4, letter"):
        write_cards(path, [Card(LIBRARY, "D-1"), Card(LIBRARY, "D-2", paper="a4")])
    with pytest.raises(BadInput, match="too long for the back"):
        write_cards(path, [Card(LIBRARY, "D-1")], {"D-1": ["many words " * 30] * 90})
    with pytest.raises(BadInput, match="no letters that the card can print"):
        write_cards(path, [Card(LIBRARY, "北側")])


def test_letters_that_the_font_has_stay_and_others_lose_their_accents() -> None:
    assert printable("Żółw-3") == "Zow-3"
    assert printable("Öre-3") == "Öre-3"


def test_the_whole_shot_list_of_a_deck_fits_on_the_smallest_card(tmp_path: Path) -> None:
    write_cards(tmp_path / "card.pdf", [Card(LIBRARY, "D-1", paper="pocket")], {"D-1": ["words " * 27] * 13})
    assert (tmp_path / "card.pdf").stat().st_size > 2000


def test_the_longest_code_still_has_modules_of_half_a_millimeter_on_a_pocket_card() -> None:
    card = Card(LIBRARY, "x" * 60, "2026-05-04", paper="pocket")
    left, _, right, _ = card.layout.qr_zone
    assert (right - left) / (len(qr_cells(card)) + 8) > 0.5
