"""Decks that share look-alike photos: one deck to every figure, whatever name its photos came under.

A photo that was sent twice (re-encoded, or with its deck under another name) has other bytes but nearly the
same perceptual hash. Two decks of which some photos look alike are joined into one group, and so on along the
chain; training, promises, audits and splits never put two decks of one group on different sides.

Every pair within `BITS_APART` is found without comparing all pairs: of 16 bands of 16 bits at least one
differs in at most one bit when at most 31 of 256 bits differ (M. Norouzi, A. Punjani, D. J. Fleet, Fast Exact
Search in Hamming Space with Multi-Index Hashing, IEEE PAMI 36, 2014).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import and_, select

from triage.library.bursts import BITS_APART
from triage.library.records import UNSORTED
from triage.library.tables import photo, placing

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.library.library import Library

    Ints = NDArray[np.int64]

_BANDS = 16
_DIGITS = 64
_MOST_PAIRS = 2_000_000
"""Candidate pairs that are in memory at once."""
PLAIN_BELOW = 24
"""A hash with fewer bits set (or unset) than this comes from a picture without any pattern, and says nothing:
half of the bits are set in every other picture."""


@dataclass(frozen=True)
class DeckGroups:
    """Which decks are one.

    Attributes
    ----------
    of : deck to the first name of its group; decks without look-alikes are not listed.
    photos : photos that look like a photo of another deck.
    """

    of: Mapping[str, str]
    photos: frozenset[str]

    def group(self, deck: str) -> str:
        """Return the name under which a deck is counted."""
        return self.of.get(deck, deck)

    def members(self) -> list[list[str]]:
        """Return the decks of every group of two or more, sorted."""
        found: dict[str, list[str]] = {}
        for deck, name in sorted(self.of.items()):
            found.setdefault(name, []).append(deck)
        return [found[name] for name in sorted(found)]


NO_GROUPS = DeckGroups({}, frozenset())


def deck_groups(library: Library) -> DeckGroups:
    """Return the groups of decks that share look-alike photos; photos that wait for a deck are left out."""
    return groups_of(_hashed(library))


def decks_like(library: Library, shas: Collection[str]) -> dict[str, list[str]]:
    """Return for each deck of some photos the other decks with a look-alike of one of them, sorted."""
    rows, wanted = _hashed(library), set(shas)
    told, bits, names, deck = _told(rows)
    among = np.flatnonzero([rows[int(place)][0] in wanted for place in told])
    found: dict[str, set[str]] = {}
    if len(among):
        for left, right in near_pairs(bits, deck, among):
            for one, other in zip(deck[left].tolist(), deck[right].tolist(), strict=True):
                found.setdefault(names[one], set()).add(names[other])
    return {one: sorted(others) for one, others in sorted(found.items())}


def _hashed(library: Library) -> list[tuple[str, str, str]]:
    """Return (photo, deck, perceptual hash) of every photo at a deck."""
    query = (
        select(photo.c.sha, placing.c.deck, photo.c.phash)
        .join(placing, and_(placing.c.key == photo.c.sha, placing.c.current.is_(True)))
        .where(photo.c.state == "here", photo.c.phash.is_not(None), placing.c.deck != UNSORTED)
        .order_by(photo.c.sha)
    )
    with library.read() as connection:
        found: Sequence[Any] = connection.execute(query).all()
    return [(row.sha, row.deck, row.phash) for row in found if len(row.phash) == _DIGITS]


def _bits_set(rows: NDArray[Any]) -> NDArray[Any]:
    """Return how many bits of each row of unsigned numbers are set; NumPy 2.0 has a function for it."""
    if hasattr(np, "bitwise_count"):
        return np.asarray(np.bitwise_count(rows).sum(axis=1))
    return np.asarray(_BITS_OF_BYTE[np.ascontiguousarray(rows).view(np.uint8)].sum(axis=1))


_BITS_OF_BYTE = np.array([number.bit_count() for number in range(256)], np.uint8)


def _told(
    rows: Sequence[tuple[str, str, str]],
) -> tuple[Ints, NDArray[np.uint8], list[str], Ints]:
    """Return which rows have a hash that says something, its bytes, and their decks: names and numbers."""
    bits = np.frombuffer(bytes.fromhex("".join(row[2] for row in rows)), np.uint8).reshape(-1, 32)
    set_bits = _bits_set(bits)
    told = np.flatnonzero((set_bits >= PLAIN_BELOW) & (set_bits <= 256 - PLAIN_BELOW))
    decks = [rows[int(place)][1] for place in told]
    names = sorted(set(decks))
    code = {name: number for number, name in enumerate(names)}
    return told, bits[told], names, np.array([code[one] for one in decks], np.int64)


def groups_of(rows: Sequence[tuple[str, str, str]]) -> DeckGroups:
    """Return the groups of decks from (photo, deck, perceptual hash as 64 hex digits)."""
    rows = [row for row in rows if len(row[2]) == _DIGITS]
    if not rows:
        return NO_GROUPS
    told, bits, names, deck = _told(rows)
    parent = list(range(len(names)))
    alike: set[int] = set()
    for left, right in near_pairs(bits, deck):
        alike.update(left.tolist())
        alike.update(right.tolist())
        for pair in np.unique(np.sort(np.column_stack([deck[left], deck[right]]), axis=1), axis=0).tolist():
            one, other = (_root(parent, place) for place in pair)
            parent[max(one, other)] = min(one, other)
    roots = [_root(parent, place) for place in range(len(names))]
    shared = {root for place, root in enumerate(roots) if root != place}
    of = {names[place]: names[root] for place, root in enumerate(roots) if root in shared}
    return DeckGroups(of, frozenset(rows[int(told[place])][0] for place in alike))


def _root(parent: list[int], place: int) -> int:
    while parent[place] != place:
        parent[place] = parent[parent[place]]
        place = parent[place]
    return place


def near_pairs(bits: NDArray[np.uint8], deck: Ints, among: Ints | None = None) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of rows of different decks whose hashes differ in at most `BITS_APART` bits.

    With `among` (some rows) only pairs whose first row is one of them, each such row with every other.

    Parameters
    ----------
    bits : (n, 32) bytes of the hashes.
    deck : (n,) number of each row's deck.
    """
    words = np.ascontiguousarray(bits).view(np.uint64)
    bands = np.ascontiguousarray(bits).view(np.uint16)
    flips = np.array([0, *(1 << bit for bit in range(16))], np.uint16)
    for band in range(_BANDS):
        keys = bands[:, band]
        order = np.argsort(keys, kind="stable")
        ordered = keys[order]
        for flip in flips:
            wanted = (keys if among is None else keys[among]) ^ flip
            first = np.searchsorted(ordered, wanted, side="left")
            count = np.searchsorted(ordered, wanted, side="right") - first
            for left, right in _expanded(first, count, order):
                if among is not None:
                    left = among[left]
                apart = ((left < right) if among is None else True) & (deck[left] != deck[right])
                left, right = left[apart], right[apart]
                far = _bits_set(words[left] ^ words[right])
                near = far <= BITS_APART
                if near.any():
                    yield left[near], right[near]


def _expanded(first: Ints, count: Ints, order: Ints) -> Iterator[tuple[Ints, Ints]]:
    """Yield the pairs (row, each row of its bucket), some millions at a time."""
    ends = np.cumsum(count)
    start = 0
    while start < len(count):
        before = int(ends[start - 1]) if start else 0
        stop = max(start + 1, int(np.searchsorted(ends, before + _MOST_PAIRS, side="right")))
        part = count[start:stop]
        left = np.repeat(np.arange(start, stop), part)
        offset = np.arange(len(left)) - np.repeat(np.cumsum(part) - part, part)
        yield left, order[first[left] + offset]
        start = stop
