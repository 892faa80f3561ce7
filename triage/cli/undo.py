"""`undo`: takes back the speaker's last act."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say
from triage.errors import WrongUsage

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
@click.option(
    "--event", metavar="HASH", help="Take back the act of this event, whoever said it; needs --why."
)
@click.option("--why", metavar="TEXT", help="The reason; it is kept with the event.")
@by_option
@library_option
@json_option
def command(
    event: str | None, why: str | None, by: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Take back your last act on labels, facts, findings, tiers or moves; the history keeps both.

    With --event the act of another person is taken back, and the reason goes on record. The hash stands in
    label log --json and in audit register.

    Examples:
    deck-triage undo --by ann
    deck-triage undo --event 0f3a9c2d --why "the photo shows another deck" --by cy
    """
    if (event is None) != (why is None):
        raise WrongUsage("--event and --why belong together.", "Give both, or neither to undo your last act.")
    with open_library(library_path) as library:
        speaker = need_by(by)
        if event is not None:
            events = library.take_back(event, why=why or "", by=speaker)
        else:
            events = library.undo(speaker)
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
