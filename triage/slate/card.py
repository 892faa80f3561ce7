"""What a card says: the text in its QR code, and the check number in its markers."""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from datetime import date

from triage.errors import BadInput
from triage.slate.layout import LAYOUTS, SETS_PER_PAPER, Layout, layout_named

MARK = "DTS1"
LIBRARY_LETTERS = 8
MOST_DECK_BYTES = 60
_PAPER_LETTER = {name: name[0].upper() for name in LAYOUTS}
_TEXT = re.compile(rf"{MARK} ([0-9a-f]{{{LIBRARY_LETTERS}}}) (\d{{8}}|-) ([SE]) ([LAP]) (\S.*)")


def library_code(library_id: str) -> str:
    """Return the first eight hexadecimal letters of a library's id; raises BadInput where it has none."""
    code = library_id.replace("-", "").lower()[:LIBRARY_LETTERS]
    if not re.fullmatch(rf"[0-9a-f]{{{LIBRARY_LETTERS}}}", code):
        raise BadInput(f"'{library_id}' is no library id: it should begin with eight hexadecimal letters.")
    return code


@dataclass(frozen=True)
class Card:
    """One printed card: library code, deck, visit as an ISO date or null, start or closing, paper."""

    library: str
    deck: str
    visit: str | None = None
    closing: bool = False
    paper: str = "letter"

    @property
    def layout(self) -> Layout:
        """Where everything sits on it."""
        return layout_named(self.paper)

    @property
    def text(self) -> str:
        """What the QR code holds. Raises BadInput for a deck or visit that does not fit on a card."""
        if self.deck != self.deck.strip() or not self.deck.isprintable() or not self.deck:
            raise BadInput(
                f"Deck {self.deck!r} does not fit on a card.", "Take a short code without blanks around it."
            )
        if len(self.deck.encode()) > MOST_DECK_BYTES:
            raise BadInput(
                f"Deck '{self.deck}' is longer than {MOST_DECK_BYTES} bytes and does not fit on a card.",
                "Give the deck a short code.",
            )
        visit = "-" if self.visit is None else _day(self.visit).isoformat().replace("-", "")
        side = "E" if self.closing else "S"
        return f"{MARK} {library_code(self.library)} {visit} {side} {_PAPER_LETTER[self.paper]} {self.deck}"

    @property
    def check(self) -> int:
        """The number in the markers' ids, 0 to 12: another card has another one, twelve times in thirteen."""
        return zlib.crc32(self.text.encode()) % SETS_PER_PAPER


def _day(visit: str) -> date:
    try:
        return date.fromisoformat(visit)
    except ValueError as error:
        raise BadInput(f"Visit '{visit}' is not a date.", "Write it as 2026-05-04.") from error


def card_from_text(text: str) -> Card | None:
    """Return the card of a QR code's text, or null where the code is none of ours."""
    match = _TEXT.fullmatch(text)
    if match is None:
        return None
    library, visit, side, letter, deck = match.groups()
    paper = next(name for name, own in _PAPER_LETTER.items() if own == letter)
    try:
        day = None if visit == "-" else date.fromisoformat(visit).isoformat()
    except ValueError:
        return None
    return Card(library, deck, day, side == "E", paper)
