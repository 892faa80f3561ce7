"""The order `dangerous`, photo by photo: the lists to look at first in turn with the decks, then the rest.

- What stands above its tag's line is on a list (`presort.look_first`). The lists of urgent tags come first,
  the others after them. Of each tag the likeliest photo comes first, then the second of each, so that a tag
  whose probabilities are all low is not left until last; and every deck's first photo before any deck's
  second, because one photo is enough to find a deck.
- The first photo and every second one after it is the next of the decks in their order, the likeliest of
  each deck first. A list can be wrong about a deck, and a deck that it passes over must not wait for the end:
  the photo number n of the decks is at most number 2n - 1 of this order.
- A photo is asked about once, with all its open tags: one look, and one key for all that it does not show.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from triage.library.look_lines import LookLine


class Said(Protocol):
    """What the machine said about a photo, as far as an order needs it."""

    @property
    def photo(self) -> str:
        """The photo."""

    @property
    def tag(self) -> str:
        """The tag."""

    @property
    def probability(self) -> float:
        """The probability."""


@dataclass(frozen=True)
class LookOrder:
    """Photos in the order in which to look at them.

    Attributes
    ----------
    urgent : those on the lists of urgent tags, in turn with the decks.
    others : those on the other lists, in turn with the decks.
    left : what stands on no list.
    """

    urgent: tuple[str, ...]
    others: tuple[str, ...]
    left: tuple[str, ...]

    @property
    def rest(self) -> tuple[str, ...]:
        """All that comes after the urgent lists."""
        return self.others + self.left


def look_order(
    said: Sequence[Said],
    deck_of: Mapping[str, str],
    lines: Mapping[str, LookLine],
    urgent: Collection[str] = (),
) -> LookOrder:
    """Return in which order to look at the photos that the machine spoke of.

    Parameters
    ----------
    said : of open questions only.
    deck_of : photo to deck.
    lines : without any, photos come by their highest probability.
    urgent : tags whose lists come first; where none is named, all are alike.
    """
    highest: dict[str, float] = {}
    expected: dict[str, float] = {}
    for one in said:
        highest[one.photo] = max(highest.get(one.photo, 0.0), one.probability)
        expected[one.photo] = expected.get(one.photo, 0.0) + one.probability
    by_deck = sorted(expected, key=lambda sha: (deck_of[sha], -expected[sha]))
    likeliest = sorted(highest, key=lambda sha: -highest[sha])
    done: set[str] = set()
    decks = iter(by_deck)
    first = _in_turn(_listed(said, deck_of, lines, urgent or lines), decks, done)
    others = _in_turn(_listed(said, deck_of, lines, lines), decks, done)
    left = [sha for sha in (by_deck if lines else likeliest) if sha not in done]
    return LookOrder(tuple(first), tuple(others), tuple(left))


def _listed(
    said: Sequence[Said], deck_of: Mapping[str, str], lines: Mapping[str, LookLine], tags: Collection[str]
) -> list[str]:
    """Return the photos above the lines of some tags: each tag's likeliest first, decks in turn."""
    place: dict[str, int] = {}
    ranked = []
    for one in sorted(said, key=lambda one: -one.probability):
        if one.tag in tags and one.tag in lines and one.probability >= lines[one.tag].probability:
            place[one.tag] = place.get(one.tag, 0) + 1
            ranked.append((place[one.tag], -one.probability, one.photo))
    turn: dict[str, int] = {}
    found = []
    for number, sha in enumerate(dict.fromkeys(sha for _, _, sha in sorted(ranked, key=lambda row: row[:2]))):
        turn[deck_of[sha]] = turn.get(deck_of[sha], 0) + 1
        found.append((turn[deck_of[sha]], number, sha))
    return [sha for _, _, sha in sorted(found)]


def _in_turn(listed: Sequence[str], decks: Iterator[str], done: set[str]) -> list[str]:
    """Return listed photos, each after the next one of the decks; `done` grows by them."""
    found: list[str] = []
    for sha in listed:
        if sha in done:
            continue
        of_deck = next((one for one in decks if one not in done), sha)
        for one in dict.fromkeys((of_deck, sha)):
            done.add(one)
            found.append(one)
    return found
