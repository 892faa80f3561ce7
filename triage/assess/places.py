"""Places in words: when two are the same, and which stretch of a long ledger one lies in."""

from __future__ import annotations

import re

MEASURED_APART_IN = 3.0
"""Two places measured from one end are one within so many inches: hangers stand 12 in apart or more."""
_MEASURED = re.compile(
    r"(?:(?P<feet>\d+(?:\.\d+)?)\s*(?:ft\b|feet\b|foot\b|')\s*)?"
    r"(?:(?P<inches>\d+(?:\.\d+)?)\s*(?:in\b|inch(?:es)?\b|\"|″)\s*)?from\s+(?:the\s+)?(?P<end>left|right)\b(?:\s+end\b)?"
)
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


def measured(place: str | None) -> tuple[str, float] | None:
    """Return the end that a place was measured from, and the inches.

    '4 ft 2 in from the left' gives ('left', 50.0). Null where the words hold no measure.
    """
    found = _MEASURED.search(place_key(place))
    if found is None or found["feet"] is None and found["inches"] is None:
        return None
    return found["end"], 12 * float(found["feet"] or 0) + float(found["inches"] or 0)


def one_location(one: str | None, other: str | None) -> bool:
    """Return whether two places are one: the same words, or measured from one end within a hand's breadth.

    Used to tie a photo after to the one before; what lies at one place is grouped by the words alone.
    """
    if same_place(one, other) and place_key(one):
        return True
    first, second = measured(one), measured(other)
    if first is None or second is None or first[0] != second[0]:
        return False
    return abs(first[1] - second[1]) <= MEASURED_APART_IN and _apart_from_measure(one) == _apart_from_measure(
        other
    )


def _apart_from_measure(place: str | None) -> str:
    """Return a place without its measure: 'post' and 'joist' are never one place, whatever the measure."""
    return " ".join(_MEASURED.sub(" ", place_key(place)).split())


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
