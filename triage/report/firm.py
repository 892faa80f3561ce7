"""Who inspected, as paper names it: the firm and its inspector, from `firm.toml` in the library's folder.

name = "Sample Deck Inspections"        # every key may be left out
inspector = "A. Sample"
license = "No. 000 (invented)"
address = "1 Sample Street, Sampletown"
phone = "555-0100"
email = "office@example.org"
web = "example.org"

[call]                                  # whom the owner reaches, and how
engineer = "B. Sample, P.E., 555-0101"
contractor = "any licensed deck contractor"
building-official = "Town hall, 555-0102"

[due_days]                              # days from the visit, where no date was set for a deck
repair-before-use = 14
repair-this-season = 120
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from triage.domain.tiers import TIERS
from triage.errors import BadInput
from triage.report.text import clean

FIRM_FILE = "firm.toml"
WORDS = ("name", "inspector", "license", "address", "phone", "email", "web")
CALLED = ("engineer", "contractor", "building-official")
DUE_TIERS = TIERS[1:4]
"""Tiers that a number of days may stand for: a stop-use is due at once, nothing seen never."""
MOST_DAYS = 3650


@dataclass(frozen=True)
class Firm:
    """The firm behind a report; empty words are not printed. `due_days` are days from the visit by tier."""

    name: str = ""
    inspector: str = ""
    license: str = ""
    address: str = ""
    phone: str = ""
    email: str = ""
    web: str = ""
    call: Mapping[str, str] = field(default_factory=dict)
    due_days: Mapping[str, int] = field(default_factory=dict)

    @property
    def known(self) -> bool:
        """Whether a firm or an inspector is named."""
        return bool(self.name or self.inspector)

    def reach(self) -> tuple[str, ...]:
        """Return how to reach the firm, a line each."""
        return tuple(one for one in (self.phone, self.email, self.web, self.address) if one)

    def to_text(self) -> str:
        """Return the firm as canonical JSON, to keep with an issued report."""
        body = {name: getattr(self, name) for name in WORDS}
        return json.dumps({**body, "call": dict(self.call), "due_days": dict(self.due_days)}, sort_keys=True)


def firm_of(folder: Path | None) -> Firm:
    """Return the firm of a library's folder, an empty one where it has no `firm.toml`.

    Raises BadInput, naming the file and the key, for a file that cannot be read or says something else.
    """
    file = None if folder is None else folder / FIRM_FILE
    if file is None or not file.is_file():
        return Firm()
    try:
        found = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{file} cannot be read: {error}.", "Correct the file, or remove it.") from error
    return firm_from(found, str(file))


def firm_from_text(text: str | None) -> Firm:
    """Return the firm that an issued report keeps."""
    return firm_from(json.loads(text), "the issued report") if text else Firm()


def firm_from(found: Mapping[str, Any], where: str) -> Firm:
    """Return a firm from plain data; raises BadInput for a key or a value that does not belong there."""
    for key in found:
        if key not in (*WORDS, "call", "due_days"):
            known = ", ".join((*WORDS, "[call]", "[due_days]"))
            raise BadInput(f"{where}: '{key}' is not a known key.", f"Known keys: {known}.")
    words = {key: _words(found.get(key, ""), key, where) for key in WORDS}
    return Firm(**words, call=_called(found, where), due_days=_due_days(found, where))


def _words(value: Any, key: str, where: str) -> str:
    if not isinstance(value, str):
        raise BadInput(f"{where}: {key} must be text in quotation marks.")
    return clean(value)


def _called(found: Mapping[str, Any], where: str) -> dict[str, str]:
    table = _table(found, "call", CALLED, where)
    return {key: _words(value, f"call.{key}", where) for key, value in table.items()}


def _due_days(found: Mapping[str, Any], where: str) -> dict[str, int]:
    table = _table(found, "due_days", DUE_TIERS, where)
    for key, value in table.items():
        if isinstance(value, bool) or not isinstance(value, int) or not 0 < value <= MOST_DAYS:
            raise BadInput(f"{where}: due_days.{key} must be a whole number of days from 1 to {MOST_DAYS}.")
    return dict(table)


def _table(found: Mapping[str, Any], name: str, keys: tuple[str, ...], where: str) -> Mapping[str, Any]:
    table = found.get(name, {})
    if not isinstance(table, Mapping):
        raise BadInput(f"{where}: [{name}] must be a table.")
    for key in table:
        if key not in keys:
            raise BadInput(f"{where}: '{name}.{key}' is not a known key.", f"Known keys: {', '.join(keys)}.")
    return table
