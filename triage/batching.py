"""Taking a long run of things a few at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

Item = TypeVar("Item")


def lots(items: Iterable[Item], size: int) -> Iterator[list[Item]]:
    """Yield the items in lists of `size`, the last one perhaps shorter, reading no further than that."""
    left = iter(items)
    while lot := list(islice(left, size)):
        yield lot
