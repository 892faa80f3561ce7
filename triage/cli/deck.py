"""`deck set`: private fields of a deck."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say


@click.group("deck")
def command() -> None:
    """Private fields of a deck."""


@named("set")
@click.argument("deck")
@click.option("--address", metavar="TEXT")
@click.option("--client", metavar="TEXT")
@click.option("--due", metavar="DATE", help="By when the worst finding is to be repaired, as 2026-06-01.")
@by_option
@library_option
@json_option
def set_(
    deck: str,
    address: str | None,
    client: str | None,
    due: str | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Set a deck's address and client, printed only when asked for, and by when it is to be repaired.

    Examples:
    deck-triage deck set D-17 --due 2026-06-01 --by ann
    deck-triage deck set D-17 --address '1 Sample Lane' --by ann
    """
    from triage.assess.said import set_private

    fields = {
        name: text
        for name, text in (("address", address), ("client", client), ("due", due))
        if text is not None
    }
    with open_library(library_path) as library:
        row = set_private(library, deck, fields, by=need_by(by))
    if as_json:
        emit(row)
    else:
        say(f"{deck}: stored {' and '.join(row['set'])}.")


command.add_command(set_)
