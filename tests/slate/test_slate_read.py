"""Reading the card in a photo, and a clear sentence for each that cannot be used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.simulated import slate_views as sv
from triage.imaging import open_upright
from triage.slate.card import Card
from triage.slate.read import CardSeen, read_card

LIBRARY = "3fa9c1d2" * 4
CARD = Card("3fa9c1d2", "oak-lane-12", "2026-05-04")
SMALL_SENSOR = (1600, 1200)


def photo(wood: np.ndarray, *cards: Card, oblique_deg: float = 25.0, hidden: bool = False) -> np.ndarray:
    """A photo of one card, or of two side by side on one plane, 1,400 pixels wide."""
    parts = []
    for number, card in enumerate(cards):
        rng = np.random.default_rng(number + 4)
        camera = sv.draw_camera(rng, 1100.0, np.radians(oblique_deg), np.zeros(2))
        view = sv.View(card.layout, card.check, card.text, camera, seed=3)
        if hidden:
            turn = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
            view.hidden = [np.array([-60.0, 0.0]) + turn * np.array([95.0, 130.0])]
        parts.append(
            sv.render(
                view, (1300, 900, 2700, 2100), sv.card_texture(card.layout, card.check, card.text), wood
            )
        )
    return np.hstack(parts)


def kind(seen: CardSeen | None) -> str | None:
    return seen.problem.kind if seen and seen.problem else None


@pytest.mark.parametrize("paper", ["letter", "a4", "pocket"])
def test_a_card_is_read_at_once(wood: np.ndarray, paper: str) -> None:
    card = Card(CARD.library, "D-17", None, closing=True, paper=paper)
    seen = read_card(photo(wood, card), LIBRARY)
    assert seen is not None
    assert seen.card == card
    assert seen.problem is None
    assert len(seen.markers) == 6


def test_a_photo_without_a_card_holds_none(wood: np.ndarray) -> None:
    assert read_card((wood[:800, :1000, None] * np.array([255, 240, 220])).astype(np.uint8), LIBRARY) is None


def test_two_different_cards_in_one_photo(wood: np.ndarray) -> None:
    other = next(
        card for card in (Card(CARD.library, f"D-{n}") for n in range(20)) if card.check != CARD.check
    )
    seen = read_card(photo(wood, CARD, other), LIBRARY)
    assert kind(seen) == "two-cards"
    assert seen is not None
    assert seen.card is None


def test_two_cards_whose_markers_are_alike_are_two_all_the_same(wood: np.ndarray) -> None:
    twin = next(
        card for card in (Card(CARD.library, f"D-{n}") for n in range(200)) if card.check == CARD.check
    )
    assert kind(read_card(photo(wood, CARD, twin), LIBRARY)) == "two-cards"


def test_a_card_of_another_library_names_it(wood: np.ndarray) -> None:
    seen = read_card(photo(wood, CARD), "0badcafe" * 4)
    assert kind(seen) == "other-library"
    assert seen is not None
    assert seen.problem is not None
    assert "code 3fa9c1d2" in seen.problem.sentence


def test_a_torn_card_says_how_much_of_it_is_seen(wood: np.ndarray) -> None:
    seen = read_card(photo(wood, CARD, hidden=True), LIBRARY)
    assert kind(seen) == "torn"
    assert seen is not None
    assert seen.problem is not None
    assert "of the card's 6 squares are seen" in seen.problem.sentence


def test_a_mirrored_photo_is_told_and_its_deck_still_read(wood: np.ndarray) -> None:
    seen = read_card(np.ascontiguousarray(photo(wood, CARD)[:, ::-1]), LIBRARY)
    assert kind(seen) == "mirrored"
    assert seen is not None
    assert seen.card == CARD


def test_a_turned_photo_is_read_as_well(wood: np.ndarray) -> None:
    for turns in (1, 2, 3):
        seen = read_card(np.ascontiguousarray(np.rot90(photo(wood, CARD), turns)), LIBRARY)
        assert seen is not None
        assert seen.card == CARD


def test_markers_that_do_not_fit_their_code_are_two_cards(wood: np.ndarray) -> None:
    rng = np.random.default_rng(4)
    view = sv.View(
        CARD.layout, (CARD.check + 1) % 13, CARD.text, sv.draw_camera(rng, 1100.0, 0.3, np.zeros(2))
    )
    rgb = sv.render(view, (1300, 900, 2700, 2100), sv.card_texture(view.layout, view.check, view.text), wood)
    assert kind(read_card(rgb, LIBRARY)) == "two-cards"


@pytest.mark.parametrize("shape", [(1, 1, 3), (3, 5, 3), (40, 3000, 3), (200, 300)])
def test_no_picture_is_too_odd_to_be_looked_at(shape: tuple[int, ...]) -> None:
    rng = np.random.default_rng(0)
    for rgb in (
        np.zeros(shape, np.uint8),
        np.full(shape, 255, np.uint8),
        rng.integers(0, 255, shape).astype(np.uint8),
    ):
        assert read_card(rgb, LIBRARY) is None


def test_photos_of_real_screws_and_boards_show_no_card(real_photos: Path) -> None:
    paths = sorted(real_photos.rglob("*.jpg"))[::12]
    assert len(paths) > 20
    assert [path.name for path in paths if read_card(open_upright(path, 1600).rgb, LIBRARY)] == []
