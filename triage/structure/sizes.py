"""Sizes of lumber against the sizes that a table holds: the nearest harder and the nearest easier one.

A deeper or thicker member of one species and grade carries at least as much, so that a table row of a smaller
size is a harder case and one of a larger size an easier one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

TABLE_DEPTHS = (6, 8, 10, 12)
TABLE_THICKNESS = 2


@dataclass(frozen=True)
class Bracket:
    """The nearest harder and the nearest easier size of a table; equal where the table holds the size."""

    harder: str | None
    easier: str | None


def parts(size: str) -> tuple[int, int]:
    """Return nominal thickness and depth in inches of a size such as `2x8`."""
    thickness, depth = size.split("x")
    return int(thickness), int(depth)


def dressed_in(nominal: int) -> float:
    """Return the dressed size of a nominal one in inches (ALSC PS 20: 2 is 1-1/2, 6 is 5-1/2, 8 is 7-1/4)."""
    if nominal <= 1:
        return 0.75
    return nominal - 0.5 if nominal <= 6 else nominal - 0.75


def member_bracket(size: str, depths: Sequence[int] = TABLE_DEPTHS) -> Bracket:
    """Return the sizes of a table of 2x members next to a size."""
    thickness, depth = parts(size)
    shallower = max((one for one in depths if one <= depth), default=None)
    deeper = min((one for one in depths if one >= depth), default=None)
    harder = shallower if thickness >= TABLE_THICKNESS else None
    easier = deeper if thickness <= TABLE_THICKNESS else None
    return Bracket(_member(harder), _member(easier))


def _member(depth: int | None) -> str | None:
    return None if depth is None else f"{TABLE_THICKNESS}x{depth}"


def beam_bracket(size: str, plies: Sequence[int] = (2, 3)) -> Bracket:
    """Return the built-up beams of a table next to a beam such as `2-2x10`."""
    count_text, member = size.split("-")
    count, sides = int(count_text), member_bracket(member)
    fewer = max((one for one in plies if one <= count), default=None)
    more = min((one for one in plies if one >= count), default=None)
    harder = f"{fewer}-{sides.harder}" if fewer and sides.harder else None
    easier = f"{more}-{sides.easier}" if more and sides.easier else None
    return Bracket(harder, easier)


def post_bracket(size: str, held: Sequence[str]) -> Bracket:
    """Return the posts of a table next to a post: the largest that fits into it, the smallest around it."""
    thin, wide = sorted(parts(size))
    inside = [one for one in held if _fits(one, thin, wide)]
    around = [one for one in held if sorted(parts(one))[0] >= thin and sorted(parts(one))[1] >= wide]
    return Bracket(max(inside, key=_area, default=None), min(around, key=_area, default=None))


def _fits(size: str, thin: int, wide: int) -> bool:
    one, other = sorted(parts(size))
    return one <= thin and other <= wide


def _area(size: str) -> int:
    one, other = parts(size)
    return one * other
