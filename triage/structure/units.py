"""Lengths as people write them: `10 ft`, `120 in`, `10-6`, `10' 6"`, `3/4 in`.

Feet-inches of published tables (`9-11`) are read by `feet`; facts are read by `length_in`.
"""

from __future__ import annotations

import re

from triage.errors import BadInput

_NUMBER = r"(\d+(?:\.\d+)?(?:[ -]\d+/\d+)?|\d+/\d+|\.\d+)"
_INCH_PER = {
    "ft": 12.0,
    "foot": 12.0,
    "feet": 12.0,
    "'": 12.0,
    "in": 1.0,
    "inch": 1.0,
    "inches": 1.0,
    '"': 1.0,
    "mm": 1 / 25.4,
    "cm": 1 / 2.54,
    "m": 1000 / 25.4,
}
_SIMPLE = re.compile(rf"{_NUMBER}\s*([a-z'\"]+)\.?")
_FEET_INCHES = re.compile(rf"(\d+)\s*(?:ft|feet|foot|')\.?\s*-?\s*{_NUMBER}\s*(?:in|inches|inch|\")?\.?")
_FRACTIONS = {
    "\u00bd": "1/2",
    "\u00bc": "1/4",
    "\u00be": "3/4",
    "\u215b": "1/8",
    "\u215c": "3/8",
    "\u215d": "5/8",
}
_ON_CENTER = re.compile(r"\s*(?:o\.?\s?c\.?|on[ -]cent(?:er|re)s?)$", re.IGNORECASE)
_MIXED = re.compile(r"(?:(\d+)[ -])?(\d+)/(\d+)")
_PRINTED = re.compile(r"(\d+)-(\d+)")
_TYPOGRAPHIC = str.maketrans({"\u2032": "'", "\u2019": "'", "\u2033": '"', "\u201d": '"', "\u2212": "-"})


def feet(printed: str) -> float:
    """Return a printed feet-inches length, as `9-11`, in feet.

    Raises BadInput when the text is not of that form.
    """
    match = _PRINTED.fullmatch(printed.strip())
    if match is None:
        raise BadInput(f"'{printed}' is not a length in feet-inches such as 9-11")
    return int(match[1]) + int(match[2]) / 12


def printed(feet_value: float) -> str:
    """Return a length in feet as feet-inches, rounded down to the inch, as `9-11`."""
    inches = int(feet_value * 12 + 1e-6)
    return f"{inches // 12}-{inches % 12}"


def tidy(text: str) -> str:
    """Return a number or length without typographic marks: half signs written out, `o.c.` taken off."""
    for sign, written in _FRACTIONS.items():
        text = re.sub(rf"(\d)\s*{sign}", rf"\1 {written}", text).replace(sign, written)
    text = text.strip().translate(_TYPOGRAPHIC).replace("''", '"')
    return _ON_CENTER.sub("", text).strip()


def length_in(text: str, *, bare_feet: bool = False) -> float | None:
    """Return a length written with its unit in inches; null when the text is not such a length.

    With `bare_feet` a plain `9-6` is feet and inches, as plans and tables print it.
    """
    text = tidy(text).lower()
    bare = _PRINTED.fullmatch(text) if bare_feet else None
    if bare is not None and int(bare[2]) < 12:
        return int(bare[1]) * 12.0 + int(bare[2])
    both = _FEET_INCHES.fullmatch(text)
    if both is not None:
        return int(both[1]) * 12 + number(both[2])
    one = _SIMPLE.fullmatch(text)
    if one is None or one[2] not in _INCH_PER:
        return None
    return number(one[1]) * _INCH_PER[one[2]]


def number(text: str) -> float:
    """Return a number such as `1.5`, `3/4` or `1-5/8`.

    Raises ValueError when the text is none.
    """
    match = _MIXED.fullmatch(text.strip())
    if match is None:
        return float(text)
    whole, over, under = match.groups()
    if int(under) == 0:
        raise ValueError(text)
    return float(whole or 0) + int(over) / int(under)
