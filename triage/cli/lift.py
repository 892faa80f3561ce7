"""`lift`: the lifting of a stop-use."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say


@named("lift")
@click.argument("deck")
@click.option("--why", required=True, metavar="TEXT", help="Which repair was made.")
@click.option("--after", required=True, metavar="PHOTO", help="A photo of the repair.")
@by_option
@library_option
@json_option
def command(deck: str, why: str, after: str, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Record the lifting of a stop-use after a repair.

    Examples:
    deck-triage lift D-17 --why 'ledger bolted' --after D-17/after.jpg --by ann
    """
    from triage.assess.said import lift

    with open_library(library_path) as library:
        row = lift(library, deck, why=why, after=library.photo(after), by=need_by(by))
    if as_json:
        emit(row)
    else:
        say(f"Recorded the lifting on {deck}.")
