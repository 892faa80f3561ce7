"""The order `dangerous`: the lists to look at first, the first of each tag in turn; then by probability."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Protocol, TypeVar

if TYPE_CHECKING:
    from triage.library.look_lines import LookLine


class Said(Protocol):
    """What the machine said about a photo, as far as an order needs it."""

    @property
    def tag(self) -> str:
        """The tag."""

    @property
    def probability(self) -> float:
        """The probability."""


S = TypeVar("S", bound=Said)
P = TypeVar("P")


def lists_first(said: Sequence[tuple[S, P]], lines: Mapping[str, LookLine]) -> list[tuple[S, P]]:
    """Return suggestions, each with whatever goes with it, in the order in which to look at them.

    What stands above its tag's line comes first: the first of each tag, then the second of each, so that a
    tag whose probabilities are all low is not left until last. Without lines it is the order of probability.
    """
    by_chance = sorted(said, key=lambda pair: -pair[0].probability)
    turns: dict[str, int] = {}
    keys = []
    for one, _ in by_chance:
        line = lines.get(one.tag)
        listed = line is not None and one.probability >= line.probability
        turns[one.tag] = turns.get(one.tag, 0) + 1
        keys.append((0, turns[one.tag]) if listed else (1, 0))
    order = sorted(range(len(by_chance)), key=lambda place: (*keys[place], -by_chance[place][0].probability))
    return [by_chance[place] for place in order]
