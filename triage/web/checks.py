"""What the checks of a deck come to, said in one line, the worst first; amounts as people write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from triage.report.fact_words import UNITS, length_words
from triage.report.phrases import tag_words
from triage.report.text import and_list, count_of

_WORST_FIRST = ("over", "cannot-say", "within")


def in_order_of_worry(checks: Sequence[Any]) -> list[Any]:
    """Return checks with those that are over first, then those that cannot say; else as they come."""
    return sorted(checks, key=lambda check: (_WORST_FIRST.index(check.verdict), -(check.ratio or 0.0)))


def in_one_line(checks: Sequence[Any]) -> str:
    """Return what decides, in one sentence: which checks are over, and how many could not be said."""
    if not checks:
        return "No check applies yet: tell what was measured."
    over = [tag_words(check.check) for check in checks if check.verdict == "over"]
    mute = sum(check.verdict == "cannot-say" for check in checks)
    within = len(checks) - len(over) - mute
    first = f"Over: {and_list(over)}." if over else "No check is over."
    rest = f"{count_of(within, 'check')} within" if within else "none within"
    left = f"; {mute} cannot be said yet" if mute else ""
    return f"{first} {rest[:1].upper()}{rest[1:]}{left}."


def amount(value: float, unit: str) -> str:
    """Return a number with its unit: feet as '10 ft 6 in', all else to four digits."""
    if unit == "ft":
        return length_words(value)
    return f"{value:.4g} {UNITS.get(unit, unit)}".strip()


def spaced(example: str) -> str:
    """Return an example with a space between its numbers and their units: '36 in' for '36in'."""
    return re.sub(r"(\d)(ft|in|psf|lb)\b", r"\1 \2", example)


def choice_words(choice: str) -> str:
    """Return a choice of a form in words; sizes and names of codes stay as they are."""
    return choice.upper().replace("-", " ", 1) if choice.startswith(("irc-", "dca6-")) else tag_words(choice)
