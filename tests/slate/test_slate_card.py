"""What a card says, and which cards are refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.errors import BadInput, WrongUsage
from triage.slate.card import Card, card_from_text, library_code
from triage.slate.layout import LAYOUTS, MARKERS, SETS_PER_PAPER, layout_named, marker_place

LIBRARY = "3fa9c1d2"
DECKS = st.text(st.characters(categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=14).filter(
    lambda text: text == text.strip() and text.isprintable() and len(text.encode()) <= 60
)


@given(
    deck=DECKS,
    visit=st.none() | st.dates().map(lambda day: day.isoformat()),
    closing=st.booleans(),
    paper=st.sampled_from(sorted(LAYOUTS)),
)
def test_every_card_reads_back_as_itself(deck: str, visit: str | None, closing: bool, paper: str) -> None:
    card = Card(LIBRARY, deck, visit, closing, paper)
    assert card_from_text(card.text) == card
    assert 0 <= card.check < SETS_PER_PAPER


@pytest.mark.parametrize(
    "text",
    [
        "",
        "https://example.org/",
        "DTS1",
        "DTS2 3fa9c1d2 - S L D-17",
        "DTS1 3fa9c1d2 - S L ",
        "DTS1 3fa9c1d 2 - S L D",
        "DTS1 3fa9c1d2 20261340 S L D-17",
        "DTS1 3fa9c1d2 - X L D-17",
    ],
)
def test_a_code_that_is_none_of_ours_is_no_card(text: str) -> None:
    assert card_from_text(text) is None


def test_a_card_holds_library_deck_visit_and_nothing_private() -> None:
    assert Card(LIBRARY, "D-17", "2026-05-04").text == "DTS1 3fa9c1d2 20260504 S L D-17"
    assert Card(LIBRARY, "D-17", None, closing=True, paper="a4").text == "DTS1 3fa9c1d2 - E A D-17"


@pytest.mark.parametrize(
    ("deck", "visit", "said"),
    [
        ("", None, "does not fit"),
        (" D-17", None, "does not fit"),
        ("D\n17", None, "does not fit"),
        ("é" * 31, None, "longer than 60 bytes"),
        ("D-17", "May 4", "is not a date"),
    ],
)
def test_what_does_not_fit_on_a_card_is_refused(deck: str, visit: str | None, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        _ = Card(LIBRARY, deck, visit).text


def test_a_library_id_gives_eight_letters() -> None:
    assert library_code("3FA9C1D2-77aa-0000") == LIBRARY
    with pytest.raises(BadInput, match="is no library id"):
        library_code("my library")


def test_no_two_cards_of_different_paper_or_check_share_a_marker() -> None:
    seen: set[int] = set()
    for layout in LAYOUTS.values():
        for check in range(SETS_PER_PAPER):
            ids = layout.marker_ids(check)
            assert not seen & set(ids)
            seen.update(ids)
            assert [marker_place(one) for one in ids] == [(layout, check, place) for place in range(MARKERS)]
    assert max(seen) < 250
    assert marker_place(249) is None


def test_markers_and_code_stay_on_the_paper_and_apart() -> None:
    for layout in LAYOUTS.values():
        corners = layout.marker_corners.reshape(-1, 2)
        assert abs(corners[:, 0]).max() <= layout.width_mm / 2 - 5
        assert abs(corners[:, 1]).max() <= layout.height_mm / 2 - 5
        _, top, right, bottom = layout.qr_zone
        upper, lower = layout.marker_corners[0][2][1], layout.marker_corners[3][0][1]
        assert upper <= top
        assert bottom <= lower
        assert right < layout.block_width_mm / 2


def test_an_unknown_paper_is_named_with_those_there_are() -> None:
    with pytest.raises(WrongUsage, match="no card on 'legal'") as caught:
        layout_named("legal")
    assert "letter, a4, pocket" in caught.value.hint
