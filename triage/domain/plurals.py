"""Numbers beside what they count, as people write them."""

from __future__ import annotations


def count_of(number: int, one: str, many: str | None = None) -> str:
    """Return '1 photo' or '3 photos'."""
    return f"{number} {one if number == 1 else many or one + 's'}"
