"""What a published value of the structural checks is: where it stands, as printed, and how it was read.

Expected values are typed in the `structure_values_*` modules and never read from `triage/data/`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from triage.structure import Check, run_checks


@dataclass(frozen=True)
class Ref:
    """A printed value; `how` is 'read', 'memory' or 'common practice'."""

    source: str
    edition: str
    place: str
    printed_value: str
    how: str = "read"


@dataclass(frozen=True)
class Case:
    """A reference and how the value is got: `measured` gives it in the unit of `expected`.

    `tolerance` is half of the last printed digit (0 for a value that is read from a table). `by_equation`
    tells values that are computed from those that the checks look up.
    """

    ref: Ref
    check: str
    label: str
    expected: float
    measured: Callable[[], float]
    tolerance: float = 0.0
    by_equation: bool = False
    unit: str = "in"

    @property
    def difference(self) -> float:
        """Measured less expected, in the unit of the value."""
        return self.measured() - self.expected


def inches(printed: str) -> float:
    """Return a printed feet-inches length in inches."""
    feet, rest = printed.split("-")
    return int(feet) * 12 + int(rest)


def check_of(name: str, facts: Mapping[str, Any]) -> Check:
    """Return one check of a deck with these facts."""
    return next(check for check in run_checks(facts) if check.check == name)


def capacity(name: str, facts: Mapping[str, Any], factor: float = 1.0) -> Callable[[], float]:
    """Return how to measure a check's capacity, times a factor to the unit of the printed value."""

    def measure() -> float:
        found = check_of(name, facts).capacity
        assert found is not None, check_of(name, facts).why
        return found * factor

    return measure


def demand(name: str, facts: Mapping[str, Any]) -> Callable[[], float]:
    """Return how to measure what a check asks for."""

    def measure() -> float:
        found = check_of(name, facts).demand
        assert found is not None, check_of(name, facts).why
        return found

    return measure
