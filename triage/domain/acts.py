"""What each act needs before it is recorded: the table, and how an act is refused.

The table is `triage/data/acts.toml`. Every condition is checked by the one function that performs the act, so
that commands, the page and Python refuse alike; those marked `always` are checked again at each assessment.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from triage.domain.packaged import packaged_toml
from triage.errors import BadInput, WrongUsage

FIRM_FILE = "acts.toml"
"""The firm's own file in its library: `second_person = ["close", "lift"]`."""
_EXAMPLE = 'Write: second_person = ["close", "lift"]'
MAY_ASK_SECOND = ("close", "lift")


@dataclass(frozen=True)
class Condition:
    """One row of the table: what an act needs, and what to do where it is not so."""

    act: str
    condition: str
    needs: str
    mend: str
    always: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the row as `--explain --json` prints it."""
        return dict(vars(self))


@cache
def conditions() -> tuple[Condition, ...]:
    """Return the whole table, in the order in which conditions are checked."""
    rows = packaged_toml("acts.toml")["act"]
    return tuple(Condition(**row) for row in rows)


def conditions_of(act: str) -> tuple[Condition, ...]:
    """Return the conditions of one act."""
    return tuple(one for one in conditions() if one.act == act)


class Refused(WrongUsage):
    """An act that was not recorded, because one of its conditions does not hold.

    `condition` names the row of the table; `photo` is the photo that is in the way, where there is one.
    """

    def __init__(self, act: str, condition: str, detail: str, photo: str | None = None, **words: str) -> None:
        row = next(one for one in conditions_of(act) if one.condition == condition)
        self.act, self.condition, self.photo = act, condition, photo
        filled = _Words(deck="DECK", photo="PHOTO", rule="RULE", tag="TAG", element="PART", other="NAME")
        filled.update({name: word for name, word in words.items() if word})
        if photo:
            filled["photo"] = photo
        self.mend = row.mend.format_map(filled)
        super().__init__(f"{detail.rstrip('.')}. Needed: {row.needs}", self.mend)


class _Words(dict[str, str]):
    """Words for a sentence; a name that is not known stays as it is written."""

    def __missing__(self, name: str) -> str:
        return name.upper()


def second_person(folder: Path | None) -> frozenset[str]:
    """Return the acts for which a firm asks a second person. Raises BadInput for a file that does not fit."""
    file = folder / FIRM_FILE if folder is not None else None
    if file is None or not file.exists():
        return frozenset()
    try:
        said = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(
            f"{file} cannot be read: {error}.", 'Write: second_person = ["close", "lift"]'
        ) from error
    acts = said.get("second_person", [])
    if set(said) - {"second_person"} or not isinstance(acts, list) or set(acts) - set(MAY_ASK_SECOND):
        raise BadInput(f"{file} holds something unknown.", _EXAMPLE)
    return frozenset(acts)
