"""`lift`: lifts a stop-use after a repair."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._acts import explain_option
from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say
from triage.library import queries


@named("lift")
@click.argument("deck")
@click.option("--why", required=True, metavar="TEXT", help="Which repair was made.")
@click.option("--after", required=True, metavar="PHOTO", help="A photo of the repair.")
@explain_option("lift")
@by_option
@library_option
@json_option
def command(deck: str, why: str, after: str, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Lift a stop-use after a repair.

    Every concern at stop-use is closed first, and the photo was looked at; --explain prints the conditions.

    Examples:
    deck-triage lift --explain
    deck-triage lift D-17 --why 'ledger bolted' --after D-17/after.jpg --by ann
    """
    from triage.assess.acts import lift, pair_named

    with open_library(library_path) as library:
        _, shown = pair_named(library, deck, [], after)
        photo = shown or queries.find_photo(library, after)
        row = lift(library, deck, why=why, after=photo, by=need_by(by))
    if as_json:
        emit(row)
    else:
        say(f"Lifted the stop-use of {deck}.")
