"""`warn`: who was told to stop using a deck."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say


@named("warn")
@click.argument("deck")
@click.option("--told", required=True, metavar="WHO", help="Who was told.")
@click.option("--how", required=True, metavar="TEXT", help="How: by phone, by letter, in person.")
@click.option("--at", required=True, metavar="TIME", help="When, e.g. 2026-05-04T16:30.")
@by_option
@library_option
@json_option
def command(
    deck: str, told: str, how: str, at: str, by: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Record who was told to stop using a deck, when and how.

    Examples:
    deck-triage warn D-17 --told 'the owner' --how 'by phone' --at 2026-05-04T16:30 --by ann
    """
    from triage.assess.said import warn

    with open_library(library_path) as library:
        row = warn(library, deck, told=told, how=how, at=at, by=need_by(by))
    if as_json:
        emit(row)
    else:
        say(f"Recorded: {deck}, told at {row['told_at']}.")
