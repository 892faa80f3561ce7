"""Reads conditions from TOML tables; refuses what is unknown or cannot be compared (see `conditions`)."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from triage.assess.conditions import Condition
from triage.errors import BadInput
from triage.structure.check import REASONS

FACT_TESTS = ("over", "at_least", "under", "at_most", "is", "one_of", "known")
_ALLOWED: dict[str, tuple[str, ...]] = {
    "all": (),
    "any": (),
    "not": (),
    "tag": ("at_least",),
    "fact": FACT_TESTS,
    "check": ("verdict", "ratio_over", "kind", "reason", "outside"),
    "seen": ("is", "one_of"),
}


class Refused(BadInput):
    """A condition that cannot be taken; `word` is what to look for in the file to name the line."""

    def __init__(self, message: str, word: str) -> None:
        super().__init__(message)
        self.word = word


@dataclass(frozen=True)
class Known:
    """The names that conditions may use; `facts` maps a key to its choices, null where it has none."""

    tags: frozenset[str]
    facts: Mapping[str, frozenset[str] | None]
    checks: frozenset[str]
    elements: frozenset[str]

    def of(self, op: str) -> Collection[str]:
        """Return the names a leaf of this kind may use."""
        return {"tag": self.tags, "fact": self.facts, "check": self.checks, "seen": self.elements}[op]


def parse(raw: Any, known: Known, *, under_not: bool = False) -> Condition:
    """Return the condition of a TOML table; `known` holds the names it may use.

    Raises Refused with the word to look for in the file.
    """
    if not isinstance(raw, Mapping) or not raw:
        raise Refused('a condition is a table such as { tag = "..." }', "when")
    ops = [key for key in _ALLOWED if key in raw]
    if len(ops) != 1:
        raise Refused(f"a condition has exactly one of {', '.join(_ALLOWED)}", next(iter(raw)))
    op = ops[0]
    for key in raw:
        if key != op and key not in _ALLOWED[op]:
            raise Refused(f"'{key}' cannot be combined with '{op}'", key)
    if op == "not":
        return Condition(op, (parse(raw["not"], known, under_not=True),))
    if op in ("all", "any"):
        if not isinstance(raw[op], list) or len(raw[op]) < 2:
            raise Refused(f"'{op}' joins a list of two or more conditions", op)
        return Condition(op, tuple(parse(part, known, under_not=under_not) for part in raw[op]))
    return _parse_leaf(op, raw, known, under_not=under_not)


def _parse_leaf(op: str, raw: Mapping[str, Any], known: Known, *, under_not: bool) -> Condition:
    name = raw[op]
    if not isinstance(name, str) or name not in known.of(op):
        raise Refused(f"unknown {'element' if op == 'seen' else op} '{name}'", str(name))
    if op == "tag" and under_not:
        raise Refused(f"tag '{name}' under 'not': a defect that is seen must never make a deck better", name)
    tests = tuple((key, _hashable(value)) for key, value in raw.items() if key != op)
    if op != "tag" and not tests:
        raise Refused(f"{op} '{name}' is compared with nothing", name)
    for test, wanted in tests:
        _check_operand(op, test, wanted, name)
        choices = known.facts[name] if op == "fact" and test in ("is", "one_of") else None
        for one in wanted if isinstance(wanted, tuple) else (wanted,):
            if choices is not None and one not in choices:
                raise Refused(
                    f"fact '{name}' is never {one!r}; it is one of {', '.join(sorted(choices))}", name
                )
    return Condition(op, name=name, tests=tests)


def _hashable(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


_VERDICTS = ("within", "over", "cannot-say")


def _check_operand(op: str, test: str, wanted: Any, name: str) -> None:
    number = isinstance(wanted, int | float) and not isinstance(wanted, bool)
    if op == "tag":
        right = isinstance(wanted, int) and not isinstance(wanted, bool) and wanted >= 1
    elif test in ("known", "outside"):
        right = isinstance(wanted, bool)
    elif test == "one_of":
        right = isinstance(wanted, tuple) and len(wanted) > 0
    elif test == "verdict":
        right = wanted in _VERDICTS
    elif test == "reason":
        right = wanted in REASONS
    elif test == "kind":
        right = wanted in ("hazard", "departs-from-today")
    elif test == "is":
        right = isinstance(wanted, bool | int | float | str)
    else:
        right = number
    if not right:
        raise Refused(f"{op} '{name}': {test} cannot be {wanted!r}", name)
