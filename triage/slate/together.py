"""Photos of a phone that missed a card, placed by the cards of another phone that walked with it.

The two clocks are compared by the cards that both saw. Another phone's card counts only between two cards
that both saw, one right before and one right after in the other's walk, and only where this phone saw no
card in between that the other did not: then they walked together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from statistics import median

from triage.slate.card import Card
from triage.slate.stream import Piece, Placed, Shot, Stream

FEWEST_SHARED = 2
MOST_SPREAD_S = 90.0
"""Largest disagreement of the shared cards about the difference of two clocks."""
MARGIN_S = 180.0
"""How far one person may run ahead of the other or lag behind."""


@dataclass(frozen=True)
class Offset:
    """What one phone's clock shows more than another's, seconds, and the cards that both saw."""

    seconds: float
    spread_s: float
    shared: tuple[tuple[Shot, Shot], ...]


@dataclass(frozen=True)
class Stay:
    """The time that a phone surely spent at a deck: its card, first and last moment on its own clock."""

    card: Card
    first_s: float
    last_s: float


def offset_between(mine: Stream, other: Stream) -> Offset | None:
    """Return how far `mine` is ahead of `other`, or null where shared cards do not settle it."""
    seen, theirs = _first_sights(mine), _first_sights(other)
    shared = tuple((shot, theirs[text]) for text, shot in seen.items() if text in theirs)
    if len(shared) < FEWEST_SHARED:
        return None
    apart = [a.at_s - b.at_s for a, b in shared]
    middle = median(apart)
    spread = max(abs(one - middle) for one in apart)
    return Offset(middle, spread, shared) if spread <= MOST_SPREAD_S else None


def _first_sights(stream: Stream) -> dict[str, Shot]:
    """First shot of every card; a card shown again much later settles no clock."""
    sights: dict[str, Shot] = {}
    for shot in stream.shots:
        if shot.photo.card is not None:
            sights.setdefault(shot.photo.card.text, shot)
    return sights


def place_by_others(streams: list[Stream], placed: Mapping[str, Placed]) -> dict[str, Placed]:
    """Return decisions for pieces that their own phone's cards left open."""
    more: dict[str, Placed] = {}
    for mine in streams:
        for piece in _open_pieces(mine, placed):
            told = {}
            for other in streams:
                if other is not mine:
                    stay = _stay_for(piece, mine, other, placed)
                    if stay is not None:
                        told[stay.card.deck, stay.card.visit] = other.name
            if len(told) == 1:
                more.update(_as_placed(piece, *next(iter(told.items()))))
    return more


def _as_placed(piece: Piece, where: tuple[str, str | None], phone: str) -> dict[str, Placed]:
    reason = f"taken while {phone or 'the other phone'}, which walked along, was at {where[0]}"
    return {shot.photo.key: Placed(shot.photo.key, *where, reason) for shot in piece.shots}


def _open_pieces(stream: Stream, placed: Mapping[str, Placed]) -> Iterator[Piece]:
    for stretch in stream.stretches:
        for piece in stretch.pieces:
            if placed[piece.shots[0].photo.key].deck is None:
                yield piece


def _stay_for(piece: Piece, mine: Stream, other: Stream, placed: Mapping[str, Placed]) -> Stay | None:
    """The other phone's stay in whose core the piece was taken, where the two walked together."""
    offset = offset_between(mine, other)
    if offset is None or not _together(piece, mine, other, offset):
        return None
    margin = MARGIN_S + offset.spread_s
    times = [shot.at_s - offset.seconds for shot in piece.shots]
    stays = [
        stay
        for stay in _stays(other, placed)
        if any(stay.first_s + margin <= at <= stay.last_s - margin for at in times)
    ]
    return stays[0] if len({stay.card.deck for stay in stays}) == 1 else None


def _together(piece: Piece, mine: Stream, other: Stream, offset: Offset) -> bool:
    """Whether shared cards stand right before and right after the piece, and no other card divides them."""
    order = {shot.photo.key: place for place, shot in enumerate(mine.shots)}
    here = order[piece.shots[0].photo.key]
    before = [pair for pair in offset.shared if order[pair[0].photo.key] < here]
    after = [pair for pair in offset.shared if order[pair[0].photo.key] > here]
    if not before or not after:
        return False
    first = max(before, key=lambda pair: order[pair[0].photo.key])
    last = min(after, key=lambda pair: order[pair[0].photo.key])
    between = mine.shots[order[first[0].photo.key] + 1 : order[last[0].photo.key]]
    if any(shot.photo.card is not None for shot in between):
        return False
    missed = _decks_between(other, first[1], last[1])
    return len(missed) <= 1


def _decks_between(other: Stream, first: Shot, last: Shot) -> set[str]:
    """Decks whose cards the other phone saw between two of its shots, the first one's own not counted."""
    own = first.photo.card.deck if first.photo.card else ""
    end = last.photo.card.deck if last.photo.card else ""
    low, high = other.shots.index(first), other.shots.index(last)
    decks = {shot.photo.card.deck for shot in other.shots[low : high + 1] if shot.photo.card}
    return decks - {own, end} if high >= low else {"", "?"}


def _stays(stream: Stream, placed: Mapping[str, Placed]) -> Iterator[Stay]:
    """What the phone's own cards decided, as spans of time."""
    for stretch in stream.stretches:
        for piece in stretch.pieces:
            deck = placed[piece.shots[0].photo.key].deck
            ends = [shot for shot in (stretch.before, stretch.after) if shot and shot.photo.card]
            cards = [shot.photo.card for shot in ends if shot.photo.card and shot.photo.card.deck == deck]
            if deck is None or not cards or cards[0] is None:
                continue
            times = [shot.at_s for shot in piece.shots]
            if piece.tied_before and stretch.before and stretch.before.photo.card in cards:
                times.append(stretch.before.at_s)
            yield Stay(cards[0], min(times), max(times))
