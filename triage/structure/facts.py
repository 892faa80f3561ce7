"""Facts of a deck: their keys as data, and reading them from words, TOML and CSV.

The keys, types, units and sane ranges stand in `triage/data/facts.toml`. Nothing is read in part: a file with
one wrong value is refused whole, with file, line, key and what to do.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from triage.domain.packaged import packaged_toml
from triage.errors import BadInput
from triage.structure.fact_names import choice_of, names, plain_name
from triage.structure.units import length_in, number, tidy

_MEMBER = re.compile(r"(\d{1,2})\s*(?:x|\u00d7|by)\s*(\d{1,2})", re.IGNORECASE)
_BEAM = re.compile(
    r"\(?\s*([1-6]|single|double|triple|dbl|tpl)(?:\s*\)\s*-?\s*|\s*-\s*|\s+)(?:(?:x|ply|plies|of)\s+)?"
    r"(\d{1,2})\s*(?:x|\u00d7|by)\s*(\d{1,2})",
    re.IGNORECASE,
)
_PLIES = {"single": 1, "double": 2, "dbl": 2, "triple": 3, "tpl": 3}
_UNITS: dict[str, tuple[str, ...]] = {
    "psf": ("psf", "lb/sq ft", "lb/ft2"),
    "lb": ("lb", "lbs", "pounds", "lbf"),
    "percent": ("%", "percent"),
    "sq ft": ("sq ft", "sqft", "sf", "ft2"),
    "year": (),
    "": (),
}
_SAID = {"true": True, "yes": True, "y": True, "false": False, "no": False, "n": False}


@dataclass(frozen=True)
class FactKey:
    """One key: type, unit of the number, sane range or allowed words, meaning and element it concerns."""

    key: str
    type: str
    meaning: str
    element: str
    unit: str = ""
    low: float = 0.0
    high: float = math.inf
    choices: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the key as plain data, for help texts and forms."""
        bounded = math.isfinite(self.high)
        return {
            "key": self.key,
            "type": self.type,
            "unit": self.unit,
            "choices": list(self.choices),
            "low": self.low if bounded else None,
            "high": self.high if bounded else None,
            "meaning": self.meaning,
            "element": self.element,
            "also": list(self.also),
        }


def _load() -> Mapping[str, FactKey]:
    rows = packaged_toml("facts.toml")
    return MappingProxyType(
        {
            key: FactKey(
                key=key, **{**row, **{name: tuple(row.get(name, ())) for name in ("choices", "also")}}
            )
            for key, row in rows.items()
        }
    )


FACT_KEYS: Mapping[str, FactKey] = _load()
"""Every key that a fact may have, in the order of the file."""
_NAMES = names({key: schema.also for key, schema in FACT_KEYS.items()})


def fact_key(key: str) -> FactKey:
    """Return the schema of a key.

    Raises BadInput for an unknown key, with the nearest ones.
    """
    found = _NAMES.get(plain_name(key))
    if found is not None:
        return FACT_KEYS[found]
    near = dict.fromkeys(_NAMES[name] for name in difflib.get_close_matches(plain_name(key), _NAMES, n=3))
    hint = f"Did you mean {' or '.join(near)}? " if near else ""
    raise BadInput(f"'{key}' is not the name of a deck fact", f"{hint}List them with: deck-triage facts keys")


def parse_fact(key: str, raw: object) -> Any:
    """Return the value of a fact in the unit of its key.

    Takes numbers, words and strings with a unit (`"10 ft"` for a key in inches gives 120.0). Raises BadInput
    naming the key for an unknown key, a wrong unit, an impossible or out of range value, and saying how to
    fix it.
    """
    schema = fact_key(key)
    if raw is None or (isinstance(raw, str) and not raw.strip()):
        raise BadInput(f"{key}: no value is given", "Leave the key out when it is not known.")
    return _PARSERS[schema.type](schema, raw)


def parse_facts(pairs: Mapping[str, object]) -> dict[str, Any]:
    """Return the values of several facts under the keys' own names.

    An empty value is null (the fact is taken away). Raises BadInput as `parse_fact` does, and where
    one fact is given under two names with two values.
    """
    found: dict[str, Any] = {}
    for name, raw in pairs.items():
        key = fact_key(name).key
        value = None if raw == "" else parse_fact(key, raw)
        if key in found and found[key] != value:
            raise BadInput(f"{key} is given twice, {found[key]} and {value}", "Keep one of the two.")
        found[key] = value
    return found


def _number(schema: FactKey, raw: object) -> float:
    value = _read_number(schema, raw)
    if not math.isfinite(value):
        raise BadInput(f"{schema.key}: '{raw}' is not a number")
    if not schema.low <= value <= schema.high:
        raise BadInput(
            f"{schema.key}: {value:g} {schema.unit}".rstrip() + f" is not between {schema.low:g} and "
            f"{schema.high:g}; this looks like a typing error",
            f"It means: {schema.meaning}.",
        )
    return value


def _read_number(schema: FactKey, raw: object) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise BadInput(f"{schema.key}: '{raw}' is not a number", _number_hint(schema))
    if not isinstance(raw, str):
        return float(raw)
    text = tidy(raw)
    try:
        return number(text)
    except ValueError:
        return _with_unit(schema, text)


def _with_unit(schema: FactKey, text: str) -> float:
    """Return a number written with its unit, in the unit of the key."""
    if schema.unit in ("ft", "in"):
        inches = length_in(text, bare_feet=schema.unit == "ft")
        if inches is not None:
            return inches / 12 if schema.unit == "ft" else inches
    else:
        for word in _UNITS[schema.unit]:
            if text.lower().endswith(word):
                try:
                    return number(text[: -len(word)])
                except ValueError:
                    break
    unit = f" in {schema.unit}" if schema.unit else ""
    raise BadInput(f"{schema.key}: '{text}' is not a number{unit}", _number_hint(schema))


def _number_hint(schema: FactKey) -> str:
    if schema.unit in ("ft", "in"):
        return f'Write a number of {schema.unit}, or a length with its unit such as "10 ft 6 in".'
    return (
        f"Write a plain number of {schema.unit}, without a comma." if schema.unit else "Write a plain number."
    )


def _count(schema: FactKey, raw: object) -> int:
    value = _number(schema, raw)
    if value != int(value):
        raise BadInput(f"{schema.key}: {raw} is not a whole number", f"It means: {schema.meaning}.")
    return int(value)


def _bool(schema: FactKey, raw: object) -> bool:
    if isinstance(raw, bool):
        return raw
    if isinstance(raw, str) and raw.strip().lower() in _SAID:
        return _SAID[raw.strip().lower()]
    raise BadInput(f"{schema.key}: '{raw}' is neither true nor false", "Write true or false.")


def _choice(schema: FactKey, raw: object) -> str:
    word = str(raw)
    found = choice_of(word, schema.choices)
    if found is None:
        near = difflib.get_close_matches(word, schema.choices, n=1)
        hint = f"Did you mean {near[0]}? " if near else ""
        raise BadInput(
            f"{schema.key}: '{raw}' is not known", hint + f"It is one of: {', '.join(schema.choices)}."
        )
    return found


def _list(schema: FactKey, raw: object) -> tuple[str, ...]:
    words = re.split(r"[;,]", raw) if isinstance(raw, str) else raw
    if not isinstance(words, list | tuple):
        raise BadInput(f"{schema.key}: '{raw}' is not a list", 'Write a list such as ["ledger", "flashing"].')
    return tuple(dict.fromkeys(_choice(schema, word) for word in words if str(word).strip()))


def _text(schema: FactKey, raw: object) -> str:
    if not isinstance(raw, str) or len(raw) > 1000:
        raise BadInput(f"{schema.key}: a short text is expected", f"It means: {schema.meaning}.")
    return raw.strip()


def _member(schema: FactKey, raw: object) -> str:
    match = _MEMBER.fullmatch(raw.strip()) if isinstance(raw, str) else None
    if match is None or not (1 <= int(match[1]) <= 16 and 2 <= int(match[2]) <= 16):
        example = "6x6" if schema.type == "post" else "2x8"
        raise BadInput(
            f"{schema.key}: '{raw}' is not a size of lumber", f'Write the nominal size, as "{example}".'
        )
    return f"{int(match[1])}x{int(match[2])}"


def _beam(schema: FactKey, raw: object) -> str:
    text = raw.strip() if isinstance(raw, str) else ""
    match = _BEAM.fullmatch(text)
    if match is not None and 2 <= int(match[3]) <= 16:
        plies = _PLIES.get(match[1].lower()) or int(match[1])
        return f"{plies}-{int(match[2])}x{int(match[3])}"
    if _MEMBER.fullmatch(text):
        return f"1-{_member(schema, text)}"
    raise BadInput(
        f"{schema.key}: '{raw}' is not a beam", 'Write plies and nominal size, as "2-2x10" or "3-2x12".'
    )


_PARSERS: dict[str, Callable[[FactKey, object], Any]] = {
    "number": _number,
    "count": _count,
    "bool": _bool,
    "choice": _choice,
    "list": _list,
    "text": _text,
    "member": _member,
    "post": _member,
    "beam": _beam,
}


def contradictions(facts: Mapping[str, Any]) -> list[str]:
    """Return what cannot be true at once among parsed facts, one sentence each (empty when nothing is)."""
    from triage.structure.contradictions import find

    return find(facts)
