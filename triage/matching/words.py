"""Place words of two photos: whether they speak of one place, of two, or do not tell."""

from __future__ import annotations

import re
from collections.abc import Iterable

from triage.assess.places import place_key

_COUNTED = re.compile(
    r"(?P<part>[a-z-]+?)s?\s+(?P<first>\d+)(?:\s*(?:to|-|and)\s*(?P<last>\d+))?"
    r"(?:\s*(?:of|/)\s*(?P<of>\d+))?(?:.*?from\s+the\s+(?P<side>left|right))?"
)
SAME, ANOTHER, UNKNOWN = 1, -1, 0


def counted(place: str) -> tuple[str, frozenset[int]] | None:
    """Return the part and the numbers that a place names, counted from the left: ('joist', {4}).

    Null where it names none, or counts from the right without saying of how many.
    """
    found = _COUNTED.search(place_key(place))
    if found is None:
        return None
    first, last = int(found["first"]), int(found["last"] or found["first"])
    numbers = range(min(first, last), min(max(first, last), min(first, last) + 99) + 1)
    if found["side"] != "right":
        return found["part"], frozenset(numbers)
    if found["of"] is None:
        return None
    return found["part"], frozenset(int(found["of"]) + 1 - one for one in numbers)


def told(before: Iterable[str], after: Iterable[str]) -> int:
    """Return SAME, ANOTHER or UNKNOWN for the places that two photos' labels name.

    The same words, or a number in common of the same part, are one place; numbers of the same part without
    one in common are two. Anything else does not tell.
    """
    first, second = {place_key(one) for one in before}, {place_key(one) for one in after}
    if (first & second) - {""}:
        return SAME
    mine, theirs = _numbers(first), _numbers(second)
    parts = mine.keys() & theirs.keys()
    if any(mine[part] & theirs[part] for part in parts):
        return SAME
    return ANOTHER if parts else UNKNOWN


def _numbers(places: Iterable[str]) -> dict[str, frozenset[int]]:
    found: dict[str, frozenset[int]] = {}
    for place in places:
        named = counted(place)
        if named is not None:
            found[named[0]] = found.get(named[0], frozenset()) | named[1]
    return found
