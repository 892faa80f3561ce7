"""Splits by deck: photos of one deck are never in two parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from triage.audit.draw import in_order, new_seed
from triage.errors import BadInput

NAMES = {1: ("all",), 2: ("train", "test"), 3: ("train", "validation", "test")}


@dataclass(frozen=True)
class Splits:
    """Deck to split, the split's names in order, and the seed that drew them."""

    of: Mapping[str, str]
    names: tuple[str, ...]
    shares: tuple[float, ...]
    seed: str


def split_decks(sizes: Mapping[str, int], shares: Sequence[float], seed: str | None = None) -> Splits:
    """Split decks (name -> number of photos) by shares of the photos, in an order drawn from a seed.

    Decks are dealt out in the order of the draw; each goes to the split that is furthest below its share, and
    no split stays empty. Raises BadInput for shares that do not add up to 1 or more splits than decks.
    """
    if len(shares) not in NAMES or any(not 0 < share <= 1 or not math.isfinite(share) for share in shares):
        raise BadInput(
            "A split needs one to three shares between 0 and 1.", "Write e.g. --split 0.7,0.15,0.15"
        )
    if abs(sum(shares) - 1.0) > 1e-6:
        raise BadInput(
            f"The shares of a split add up to {sum(shares):g}, not to 1.", "Write e.g. --split 0.8,0.2"
        )
    if len(sizes) < len(shares):
        raise BadInput(
            f"{len(sizes)} decks cannot be split into {len(shares)} parts.", "Ask for fewer parts."
        )
    seed = seed or new_seed()
    names = NAMES[len(shares)]
    total = sum(sizes.values())
    filled = dict.fromkeys(names, 0.0)
    of: dict[str, str] = {}
    order = in_order(sizes, seed)
    for place, deck in enumerate(order):
        empty = [name for name in names if name not in of.values()]
        if len(order) - place <= len(empty):
            choice = empty[0]
        else:
            lack = {name: share * total - filled[name] for name, share in zip(names, shares, strict=True)}
            choice = max(names, key=lambda name: (lack[name], -names.index(name)))
        of[deck] = choice
        filled[choice] += sizes[deck]
    return Splits(of, names, tuple(shares), seed)
