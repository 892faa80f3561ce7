"""Facts as people write them: 'height above grade: 8 ft', 'joist span: 10 ft 6 in', 'has stairs: yes'."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from triage.report.text import clean
from triage.structure import CHECK_IDS

if TYPE_CHECKING:
    from triage.library.records import Fact

UNITS: Mapping[str, str] = {
    "ft": "ft",
    "in": "in",
    "psf": "lb per sq ft",
    "sqft": "sq ft",
    "lb": "lb",
    "percent": "%",
}
_KEY = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
_CHECK = re.compile("|".join(rf"\b{name}\b" for name in sorted(CHECK_IDS, key=len, reverse=True)))


def fact_rows(facts: Mapping[str, Fact]) -> tuple[tuple[str, str], ...]:
    """Return the facts of a deck in words, by name."""
    return tuple(fact_words(key, fact.value) for key, fact in sorted(facts.items()))


def fact_words(key: str, value: Any) -> tuple[str, str]:
    """Return a fact's name and value in words, the unit behind the number."""
    stem, _, unit = key.rpartition("_")
    if not stem or unit not in UNITS:
        return clean(key.replace("_", " ")), clean(_plain(value))
    name = clean(stem.replace("_", " "))
    if isinstance(value, bool) or not isinstance(value, int | float):
        return name, clean(_plain(value))
    return name, length_words(value) if unit == "ft" else f"{value:g} {UNITS[unit]}"


def without_keys(text: str) -> str:
    """Return a sentence with the names that the program uses written as words: keys of facts, checks."""
    text = _KEY.sub(lambda found: fact_words(found[0], "")[0], text)
    return _CHECK.sub(lambda found: found[0].replace("-", " "), text)


def length_words(feet: float) -> str:
    """Return a length in feet as '14 ft 11 in', '8 ft' or '4 in'; odd ones to an eighth of an inch."""
    eighths = round(feet * 96)
    whole, inches = divmod(eighths, 96)[0], (eighths % 96) / 8
    parts = [f"{whole} ft"] if whole else []
    parts += [f"{inches:g} in"] if inches or not parts else []
    return " ".join(parts)


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(str(one).replace("-", " ") for one in value)
    if isinstance(value, float):
        return f"{value:g}"
    text = str(value)
    return text if any(char.isdigit() for char in text) else text.replace("-", " ")
