"""Draws that anybody can repeat: items in the order of SHA-256 of `seed:item`, the first n taken.

The order depends on nothing but the printed seed and the items' names; not on how they are listed, on any
library's version or on this program: `printf 'SEED:ITEM' | sha256sum` gives an item's place. A longer
sample begins with the shorter one (R. L. Rivest, Consistent Sampling with Replacement, arXiv 1808.10016,
uses such tickets for election audits; here each item has one ticket, so nothing is drawn twice).
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable

from triage.errors import BadInput


def new_seed() -> str:
    """Return a fresh random seed of twelve digits, to be printed with the sample."""
    return f"{secrets.randbelow(10**12):012d}"


def ticket(seed: str, item: str) -> str:
    """Return an item's ticket: the SHA-256 (FIPS 180-4, hex) of `seed:item` in UTF-8."""
    return hashlib.sha256(f"{seed}:{item}".encode()).hexdigest()


def in_order(items: Iterable[str], seed: str) -> list[str]:
    """Return every item once, in the order of the draw."""
    return sorted(set(items), key=lambda item: (ticket(seed, item), item))


def draw(items: Iterable[str], n: int, seed: str) -> list[str]:
    """Return the first n items of the draw.

    Raises BadInput when n is below one or larger than what there is.
    """
    order = in_order(items, seed)
    if not order:
        raise BadInput("there is nothing to draw from")
    if n < 1:
        raise BadInput(f"a sample of {n} is not possible")
    if n > len(order):
        raise BadInput(f"a sample of {n} is larger than the {len(order)} there are")
    return order[:n]
