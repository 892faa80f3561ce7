"""Capacities of QR codes against ISO/IEC 18004, Table 7 (input characters), as read in public copies.

The deck's code must fit: this says at how many letters a card's code grows a size.
"""

from __future__ import annotations

import pytest
import segno

from triage.slate.card import MOST_DECK_BYTES, Card
from triage.slate.draw import qr_cells

BYTES = [
    (1, "L", 17),
    (1, "M", 14),
    (1, "Q", 11),
    (1, "H", 7),
    (2, "L", 32),
    (2, "M", 26),
    (2, "Q", 20),
    (2, "H", 14),
    (3, "L", 53),
    (3, "M", 42),
    (3, "Q", 32),
    (3, "H", 24),
    (4, "L", 78),
    (4, "M", 62),
    (4, "Q", 46),
    (4, "H", 34),
    (5, "L", 106),
    (5, "M", 84),
    (5, "Q", 60),
    (5, "H", 44),
    (6, "L", 134),
    (6, "M", 106),
    (6, "Q", 74),
    (6, "H", 58),
    (40, "L", 2953),
    (40, "M", 2331),
    (40, "Q", 1663),
    (40, "H", 1273),
]


@pytest.mark.parametrize(("version", "level", "most"), BYTES)
def test_bytes_that_fit_are_those_of_the_standard(version: int, level: str, most: int) -> None:
    code = segno.make(b"a" * most, error=level, mode="byte", micro=False, boost_error=False)
    assert code.version == version
    assert len(list(code.matrix)) == 4 * version + 17
    if version == 40:
        with pytest.raises(segno.DataOverflowError):
            segno.make(b"a" * (most + 1), error=level, mode="byte", micro=False, boost_error=False)
    else:
        more = segno.make(b"a" * (most + 1), error=level, mode="byte", micro=False, boost_error=False)
        assert more.version == version + 1


@pytest.mark.parametrize(("mode", "letter", "most"), [("numeric", "1", 7089), ("alphanumeric", "A", 4296)])
def test_largest_code_of_other_modes(mode: str, letter: str, most: int) -> None:
    assert segno.make(letter * most, error="L", mode=mode, micro=False).version == 40
    with pytest.raises(segno.DataOverflowError):
        segno.make(letter * (most + 1), error="L", mode=mode, micro=False)


@pytest.mark.parametrize(
    ("letters", "version"), [(15, 3), (16, 4), (35, 4), (36, 5), (57, 5), (58, 6), (60, 6)]
)
def test_a_card_grows_where_the_table_says(letters: int, version: int) -> None:
    """27 bytes stand before the code of a deck: 42 - 27 = 15, 62 - 27 = 35, 84 - 27 = 57 at level M."""
    card = Card("3fa9c1d2", "d" * letters, "2026-05-04")
    assert len(card.text.encode()) == 27 + letters
    assert len(qr_cells(card)) == 4 * version + 17


def test_no_card_exceeds_version_six() -> None:
    card = Card("3fa9c1d2", "d" * MOST_DECK_BYTES, "2026-05-04")
    assert len(qr_cells(card)) <= 4 * 6 + 17
