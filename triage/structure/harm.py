"""In which direction facts do harm, read from `triage/data/harm.toml`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from triage.domain.packaged import packaged_toml

_FLAGS = {"yes": (False, True), "no": (True, False)}


@dataclass(frozen=True)
class Harm:
    """The direction of one fact: `steps` are its words from harmless to harmful, empty for a number.

    `up_to` is the number beyond which more makes no difference; null where the direction holds for all
    values. `in_proportion` are facts whose limit is a share of this one: the direction applies when both grow
    in proportion.
    """

    fact: str
    more_is_worse: bool
    steps: tuple[Any, ...]
    why: str
    up_to: float | None = None
    in_proportion: tuple[str, ...] = ()

    def level(self, value: Any) -> float | None:
        """Return how harmful a value is, larger for worse; null for one that has no place in the order."""
        if not self.steps:
            number = float(value) if self.up_to is None else min(float(value), self.up_to)
            return number if self.more_is_worse else -number
        return float(self.steps.index(value)) if value in self.steps else None


@cache
def harms() -> Mapping[str, Harm]:
    """Return the directions by fact, in the order of the file."""
    rows = packaged_toml("harm.toml")
    return MappingProxyType({fact: _harm(fact, **row) for fact, row in rows.items()})


def _harm(
    fact: str,
    worse: str | list[str],
    why: str,
    up_to: float | None = None,
    in_proportion: Sequence[str] = (),
) -> Harm:
    steps: tuple[Any, ...] = _FLAGS.get(worse, ()) if isinstance(worse, str) else tuple(worse)
    return Harm(fact, worse == "more", steps, why, up_to, tuple(in_proportion))
