"""`undo`: takes back the speaker's last act."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say

if TYPE_CHECKING:
    from triage.library import Event, Library

_WORDS = {
    "closed": "a closing",
    "lifted": "a lifting",
    "tier": "a tier",
    "warned": "a warning",
    "settled": "a settlement",
    "moved": "a move",
    "repair-done": "a line of a repair sheet",
}
_HASH = re.compile(r"[0-9a-f]{64}")
_LEFT_OUT = ("same_place", "row", "boxes")


@named("undo")
@by_option
@library_option
@json_option
def command(by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Take back your last act on labels, facts, findings, tiers or moves; the history keeps both.

    Examples:
    deck-triage undo --by ann
    """
    with open_library(library_path) as library:
        events = library.undo(need_by(by))
        lines = [] if as_json else [_line(library, one) for one in events]
    if as_json:
        emit([{"kind": one.kind, "at": one.at, "by": one.by, **one.payload} for one in events])
    for line in lines:
        say(line)


def _line(library: Library, one: Event) -> str:
    """Return what was taken back, photos by their names."""
    told = {
        key: value for key, value in one.payload.items() if value not in (None, []) and key not in _LEFT_OUT
    }
    what = ", ".join(f"{key}={_named(library, value)}" for key, value in told.items())
    return f"Took back {_WORDS.get(one.kind, one.kind)}: {what}"


def _named(library: Library, value: Any) -> Any:
    from triage.library import queries

    found = queries.photos_named(library, value) if isinstance(value, str) and _HASH.fullmatch(value) else []
    return queries.name_of(library, found[0]) if found else value
