"""Sorting a batch of photos to decks by the cards that they show.

What is taken for granted: going from one deck to the next takes a pause of at least `PAUSE_S` without a
photo, or a card is shown in between; people who photograph together keep together to within `MARGIN_S`;
photos that count as one phone's are one phone's, or their names have a counter that shows that they are not.
What follows from a card, then, is what hangs on it without a pause, and what lies between the START and
the END card of one deck. All else is left open, with the reason, and a person moves it.
"""

from __future__ import annotations

from collections.abc import Iterable

from triage.slate.card import Card
from triage.slate.stream import Piece, Placed, Shot, Stream, Stretch, WalkPhoto, streams_of
from triage.slate.together import place_by_others

PAUSE_S = 120.0
"""Photos farther apart than this may have been taken at different decks."""


DOUBT = "a photo without a capture time shows a card, or could not be looked at: it may lie before this one"


def sort_walk(photos: Iterable[WalkPhoto], pause_s: float = PAUSE_S) -> list[Placed]:
    """Return a decision, or an open question with its reason, for every photo, in the order given.

    No clock needs to be right: each phone's photos are ordered by themselves, and how far two phones'
    clocks stand apart is settled by the cards that both saw.
    """
    given = list(photos)
    streams, left_out = streams_of(given, pause_s)
    placed: dict[str, Placed] = {}
    for stream in streams:
        for stretch in stream.stretches:
            placed.update(_by_own_cards(stretch, doubtful=stream.doubtful))
    placed.update(place_by_others(streams, placed))
    placed.update({photo.key: _alone(photo, reason) for photo, reason in left_out})
    return [placed[photo.key] for photo in given]


def _alone(photo: WalkPhoto, reason: str) -> Placed:
    if photo.card is not None:
        return _card_itself(photo)
    return Placed(photo.key, None, None, photo.unclear or reason)


def _card_itself(photo: WalkPhoto) -> Placed:
    if photo.card is None:
        return Placed(photo.key, None, None, photo.unclear or "")
    side = "END" if photo.card.closing else "START"
    return Placed(photo.key, photo.card.deck, photo.card.visit, f"shows the {side} card of {photo.card.deck}")


def _by_own_cards(stretch: Stretch, *, doubtful: bool) -> dict[str, Placed]:
    """Decide one stretch between two cards of the same phone, and the card that begins it.

    Where a card may have been shown anywhere, only what lies between the START and END card of one deck is
    sure.
    """
    placed = {}
    if stretch.before is not None:
        placed[stretch.before.photo.key] = _card_itself(stretch.before.photo)
    start, end = _starts(stretch.before), _ends(stretch.after)
    for piece in stretch.pieces:
        card, reason = _decide(stretch, piece, start, end)
        if card is not None and doubtful and not _bracketed(stretch, start, end):
            card, reason = None, DOUBT
        for shot in piece.shots:
            deck, visit = (card.deck, card.visit) if card else (None, None)
            placed[shot.photo.key] = Placed(shot.photo.key, deck, visit, reason)
    return placed


def _starts(shot: Shot | None) -> Card | None:
    card = shot.photo.card if shot else None
    return card if card and not card.closing else None


def _ends(shot: Shot | None) -> Card | None:
    card = shot.photo.card if shot else None
    return card if card and card.closing else None


def _decide(stretch: Stretch, piece: Piece, start: Card | None, end: Card | None) -> tuple[Card | None, str]:
    if start and _bracketed(stretch, start, end):
        return start, f"between the START and the END card of {start.deck}"
    if piece.tied_before and piece.tied_after and _contradict(stretch, start, end):
        return None, f"cards of two decks are shown without a pause between them ({_both(stretch)})"
    if start and piece.tied_before:
        return start, f"follows the START card of {start.deck} without a pause"
    if end and piece.tied_after:
        return end, f"goes on to the END card of {end.deck} without a pause"
    return None, _why_open(stretch, piece, start)


def _bracketed(stretch: Stretch, start: Card | None, end: Card | None) -> bool:
    """Whether the stretch lies between START and END card of one deck, and the clock never steps back."""
    same = start and end and (start.deck, start.visit) == (end.deck, end.visit)
    return bool(same and stretch.steady)


def _contradict(stretch: Stretch, start: Card | None, end: Card | None) -> bool:
    """Whether an END card follows without a pause upon a card of another deck."""
    before = stretch.before.photo.card if stretch.before else None
    return end is not None and before is not None and start is not end


def _both(stretch: Stretch) -> str:
    cards = [shot.photo.card for shot in (stretch.before, stretch.after) if shot]
    return ", ".join(card.deck for card in cards if card)


def _why_open(stretch: Stretch, piece: Piece, start: Card | None) -> str:
    if stretch.before is None:
        return "no card was shown before it"
    before = stretch.before.photo
    if before.card is None:
        return f"comes after a card that cannot be used: {before.unclear}"
    if before.card.closing:
        return f"comes after the END card of {before.card.deck}"
    if piece.pause_before_s is not None:
        minutes = piece.pause_before_s / 60
        return f"comes after {before.card.deck} and a pause of {minutes:.0f} min, without its END card"
    return f"comes after {before.card.deck}, but the phone's clock jumped"


__all__ = ["PAUSE_S", "Placed", "Stream", "WalkPhoto", "sort_walk"]
