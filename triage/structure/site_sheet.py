"""The site sheet: what to measure on site, in the order of a walk, read from `triage/data/site_sheet.toml`.

The questions in the terminal, the sheets to print, the page's form, the phone's sheet and the template are
all made from the lines here, so that they never differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from triage.domain.packaged import packaged_toml
from triage.structure.facts import FACT_KEYS, FactKey


@dataclass(frozen=True)
class SheetLine:
    """One question of the sheet about the fact `key`; `skip_if` maps facts to values that end it."""

    key: FactKey
    label: str
    ask: str
    how: str
    example: str
    section: str
    drawing: str = ""
    skip_if: Mapping[str, tuple[Any, ...]] = field(default_factory=dict)

    def applies(self, facts: Mapping[str, Any]) -> bool:
        """Return whether the question makes sense for what is known so far; the unknown is asked."""
        return not any(facts.get(key) in values for key, values in self.skip_if.items())


@dataclass(frozen=True)
class SheetSection:
    """One stop of the walk."""

    name: str
    title: str
    lines: tuple[SheetLine, ...]


@cache
def short_sheet() -> tuple[SheetSection, ...]:
    """Return the short sheet. Raises KeyError or TypeError where the data file does not fit."""
    rows = packaged_toml("site_sheet.toml")["section"]
    return tuple(
        SheetSection(
            row["name"],
            row["title"],
            tuple(
                _line(line, row["title"], row["drawing"] if number == 0 else "")
                for number, line in enumerate(row["line"])
            ),
        )
        for row in rows
    )


def _line(row: Mapping[str, Any], section: str, drawing: str) -> SheetLine:
    skip = {
        key: tuple(value) if isinstance(value, list) else (value,)
        for key, value in row.get("skip_if", {}).items()
    }
    rest = {name: value for name, value in row.items() if name not in ("key", "skip_if")}
    return SheetLine(
        FACT_KEYS[row["key"]], **rest, section=section, drawing=drawing.strip("\n"), skip_if=skip
    )


@cache
def short_lines() -> tuple[SheetLine, ...]:
    """Return the lines of the short sheet in order."""
    return tuple(line for section in short_sheet() for line in section.lines)


@cache
def more_lines() -> tuple[SheetLine, ...]:
    """Return a line for every other fact, in the order of the facts file."""
    short = {line.key.key for line in short_lines()}
    return tuple(
        SheetLine(
            key,
            label_of(key.key),
            f"{key.meaning[0].upper()}{key.meaning[1:]}?",
            key.meaning,
            example_of(key),
            "More",
        )
        for key in FACT_KEYS.values()
        if key.key not in short
    )


def label_of(key: str) -> str:
    """Return a short name for a fact in words."""
    for line in short_lines():
        if line.key.key == key:
            return line.label
    words = key
    for ending in ("_ft", "_in", "_psf", "_lb", "_percent", "_sqft"):
        words = words.removesuffix(ending)
    return words.replace("_", " ").capitalize()


def example_of(key: FactKey) -> str:
    """Return what an answer for a fact looks like."""
    if key.choices:
        return ", ".join(key.choices)
    shapes = {"bool": "yes, no", "member": "2x8", "post": "6x6", "beam": "2-2x10", "text": "a few words"}
    units = {"ft": "8 ft, 7' 6\"" if key.low <= 7 and key.high >= 8 else "", "in": "2 in"}
    if key.unit == "in" and not key.low <= 2 <= key.high:
        units["in"] = f"{(key.low + key.high) / 2:g} in"
    return shapes.get(key.type) or units.get(key.unit) or f"a number{f' of {key.unit}' if key.unit else ''}"


def as_written(key: FactKey, value: Any) -> str:
    """Return a value as people write it: `9 ft 6 in`, `yes`, `ledger, flashing`."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(str(one) for one in value)
    if not isinstance(value, int | float):
        return str(value)
    if key.unit == "ft" and value != int(value):
        inches = round(value * 12, 1)
        return f"{int(inches // 12)} ft {inches % 12:g} in"
    unit = "" if key.unit == "year" else key.unit
    return f"{value:g} {unit}".strip()


def efforts() -> Mapping[str, Mapping[str, float]]:
    """Return what each fact costs to find out (`effort`) and how often it matters (`odds`)."""
    rows = packaged_toml("site_sheet.toml")
    costs = {key: rows["effort"][kind] for kind, keys in rows["effort_of"].items() for key in keys}
    return {"effort": {**costs, "otherwise": rows["effort"]["tape"]}, "odds": rows["odds"]}
