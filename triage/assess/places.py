"""Places in words: when two are the same, and which stretch of a long ledger one lies in."""

from __future__ import annotations

import re

STRETCHES = ("left end", "middle", "right end")
_NTH = re.compile(r"(\d+)\s*(?:of|/)\s*(\d+)(?:.*?from\s+the\s+(left|right))?")
_WORDS = (
    ("left end", re.compile(r"\bleft\b")),
    ("middle", re.compile(r"\b(?:middle|centre|center|mid)\b")),
    ("right end", re.compile(r"\bright\b")),
)


def same_place(one: str | None, other: str | None) -> bool:
    """Return whether two places are the same words, but for case, spaces and closing punctuation."""
    return place_key(one) == place_key(other)


def place_key(place: str | None) -> str:
    """Return a place's words in lower case with single spaces; empty where no place was given."""
    return " ".join((place or "").casefold().replace(",", " ").split()).rstrip(" .;")


def stretches(place: str | None) -> frozenset[str]:
    """Return which thirds of a long element a place lies in: by 'joist 4 of 14 from the left', or by words.

    Counting is taken to be from the left, facing the house, where it is not said. Empty when the words do
    not tell.
    """
    words = place_key(place)
    counted = _NTH.search(words)
    if counted and int(counted[2]) >= int(counted[1]) >= 1 and int(counted[2]) > 1:
        share = (int(counted[1]) - 1) / (int(counted[2]) - 1)
        share = 1 - share if counted[3] == "right" else share
        return frozenset({STRETCHES[min(2, int(share * 3))]})
    return frozenset(name for name, pattern in _WORDS if pattern.search(words))
