"""Cards and measuring for the photos of a library."""

from __future__ import annotations

from triage.errors import BadInput
from triage.imaging import open_upright
from triage.library import Library, queries
from triage.library.records import Photo
from triage.slate.card import Card, library_code
from triage.slate.markers import Pixels
from triage.slate.measure import CannotMeasure, Measurable, measurable


def deck_cards(
    library: Library, decks: list[str], paper: str = "letter", visit: str | None = None, closing: bool = False
) -> list[Card]:
    """Return the cards of some decks: START, and with `closing` an END card after each.

    Raises BadInput for a deck that does not fit on a card, that is named twice, or whose code is its address.
    """
    code = library_code(library.id)
    if len(set(decks)) < len(decks):
        raise BadInput("A deck is named twice.", "Name each deck once.")
    for deck in decks:
        address = (
            queries.deck_private(library, deck).get("address", "") if deck in queries.decks(library) else ""
        )
        if address and address.casefold() == deck.casefold():
            raise BadInput(
                f"The code of deck '{deck}' is its address, which no card shows.", "Take a short code."
            )
    ends = (False, True) if closing else (False,)
    cards = [Card(code, deck, visit, end, paper) for deck in decks for end in ends]
    for card in cards:
        _ = card.text
    return cards


def measurable_photo(
    library: Library, photo: Photo, ruler_in: float | None = None
) -> tuple[Measurable, Pixels]:
    """Return the card's plane in a photo of the library, and the upright picture.

    Raises CannotMeasure with the reason, also where the card is of another deck than the photo.
    """
    upright = open_upright(library.original(photo.sha))
    found = measurable(upright.rgb, upright.focal_mm_35, library.id, ruler_in)
    card = found.seen.card
    if card is not None and card.deck != photo.deck:
        raise CannotMeasure(
            f"The card is of deck {card.deck}, but the photo stands at {photo.deck}.",
            "Move the photo to its deck first, or photograph the right card.",
        )
    return found, upright.rgb
