"""`close`: a named person closes a concern."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say


@named("close")
@click.argument("deck")
@click.argument("rule")
@click.option("--place", required=True, metavar="TEXT", help="Where on the deck.")
@click.option("--before", required=True, metavar="PHOTO", help="The photo that showed the concern.")
@click.option("--after", required=True, metavar="PHOTO", help="The photo of the same place after the repair.")
@click.option("--why", required=True, metavar="TEXT", help="What was repaired and how it was checked.")
@by_option
@library_option
@json_option
def command(
    deck: str, rule: str, place: str, before: str, after: str, why: str, by: str | None,
    library_path: Path | None, as_json: bool,
) -> Any:  # fmt: skip
    """Close a concern with an after-photo of the same place.

    Examples:
    deck-triage close D-17 missing-hanger --place 'joist 4' --before D-17/a.jpg --after D-17/b.jpg --why 'hanger set' --by ann
    """  # noqa: E501
    from triage.assess.said import close

    with open_library(library_path) as library:
        row = close(
            library, deck, rule, place=place, before=library.photo(before), after=library.photo(after),
            why=why, by=need_by(by),
        )  # fmt: skip
    if as_json:
        emit(row)
    else:
        say(f"Closed {rule} on {deck}.")
