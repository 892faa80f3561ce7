"""Which rules and checks read a fact, by key."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from triage.assess.rules import load_rule_book
from triage.domain.vocabulary import load_vocabulary
from triage.structure import run_checks


@cache
def fact_readers() -> Mapping[str, tuple[str, ...]]:
    """Return, by fact, the shipped rules whose conditions name it and the checks that ask for it."""
    found: dict[str, list[str]] = {}
    for check in run_checks({}):
        for key in check.missing:
            found.setdefault(key, []).append(check.check)
    for rule in load_rule_book(None, load_vocabulary()).in_order:
        for key in dict.fromkeys(leaf.name for leaf in rule.when.leaves("fact")):
            found.setdefault(key, []).append(rule.id)
    return {key: tuple(names) for key, names in found.items()}
