"""Text made safe for paper and for spreadsheets."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from triage import tabular
from triage.domain.plurals import count_of as count_of

_INVISIBLE = frozenset(
    "\u00ad\u061c\u180e\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2061\u2062\u2063\u2064"
    "\u2066\u2067\u2068\u2069\ufeff"
)
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
INERT = "'"
"""The prefix that keeps a spreadsheet from reading a cell as a formula."""


def clean(value: object) -> str:
    """Return a value as one line without control characters, invisible marks or lone surrogates.

    Joiners inside words (zero width joiner and non-joiner) stay: scripts need them. Runs of white space
    become one space.
    """
    text = str(value)
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    kept = []
    for char in text:
        category = unicodedata.category(char)
        if char.isspace() or category in ("Cc", "Zl", "Zp"):
            kept.append(" ")
        elif category != "Cs" and char not in _INVISIBLE and ord(char) & 0xFFFE != 0xFFFE:
            kept.append(char)
    return " ".join("".join(kept).split())


def cell(value: object) -> str:
    """Return a value as a CSV cell that no spreadsheet runs as a formula.

    Numbers stay numbers; text that starts as a formula would gets an apostrophe in front (the usual advice
    against formula injection in CSV: OWASP, 'CSV Injection', read).
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    text = clean(value)
    return INERT + text if text.startswith((*_FORMULA_STARTS, INERT)) else text


def uncell(text: str) -> str:
    """Return what `cell` was given, for text."""
    text = text.strip()
    return text[1:] if text.startswith(INERT) else text


def csv_text(columns: Iterable[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Return rows as CSV text with a header; lists are joined by `; `."""
    names = list(columns)
    values = ([_joined(row.get(name)) for name in names] for row in rows)
    return tabular.csv_text(names, values, cell)


def _joined(value: object) -> object:
    if isinstance(value, list | tuple):
        return "; ".join(clean(one) for one in value)
    return value


def and_list(parts: Iterable[str], last: str = "and") -> str:
    """Return 'a, b and c'."""
    words = list(parts)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def deck_title(deck: str) -> str:
    """Return how a deck is headed: 'Deck birch-03', but 'Deck-21' for a name that says deck itself."""
    return deck[:1].upper() + deck[1:] if deck.lower().startswith("deck") else f"Deck {deck}"


def ended(sentence: str) -> str:
    """Return a sentence with its full stop."""
    return sentence if not sentence or sentence[-1] in ".!?" else f"{sentence}."


def day_words(day: str) -> str:
    """Return an ISO date as people write it: 'May 3, 2026'; anything else as it is."""
    try:
        found = date.fromisoformat(day[:10])
    except ValueError:
        return day
    return f"{MONTHS[found.month - 1]} {found.day}, {found.year}"


def minute_words(at: str) -> str:
    """Return a moment as people write it: 'May 3, 2026, 18:00'; a date alone without a time."""
    day, _, rest = clean(at).replace(" ", "T", 1).partition("T")
    return f"{day_words(day)}, {rest[:5]}" if rest else day_words(day)


def clock(taken_at: str | None) -> str:
    """Return the camera clock's time in words; no zone is guessed (`2026-05-03T10:22:31+02:00`)."""
    if not taken_at:
        return "the camera gave no time"
    day, _, rest = clean(taken_at).replace(" ", "T", 1).partition("T")
    time, zone = rest[:8], rest[8:].lstrip(".0123456789")
    if not time:
        return f"camera clock {day}"
    zone_words = "UTC" if zone == "Z" else f"zone {zone}" if zone else "no zone given"
    return f"camera clock {day} {time} ({zone_words})"


def moment(at: str) -> str:
    """Return a recorded moment without fractions of a second: `2026-05-03 10:22:31 +00:00`."""
    day, _, rest = clean(at).partition("T")
    time, zone = rest[:8], rest[8:].lstrip(".0123456789")
    return f"{day} {time} {zone}".strip()


def minute(at: str) -> str:
    """Return a recorded moment to the minute: `2026-05-03 10:22 +00:00`; it sorts as the moment does."""
    day, _, rest = clean(at).partition("T")
    zone = rest[8:].lstrip(".0123456789")
    return f"{day} {rest[:5]} {'UTC' if zone in ('Z', '+00:00') else zone}".strip()
