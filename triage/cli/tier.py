"""`tier set`: a person's own tier."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._acts import explain_option
from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say


@click.group("tier")
def command() -> None:
    """Set a person's own tier for a deck; it is shown beside the computed one."""


@named("set")
@click.argument("deck")
@click.argument("tier")
@click.option("--why", required=True, metavar="TEXT", help="The reason; it is kept and printed.")
@click.option("--visit", metavar="DATE")
@explain_option("tier")
@by_option
@library_option
@json_option
def set_(
    deck: str,
    tier: str,
    why: str,
    visit: str | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Set your own tier for a deck, with the reason.

    Lists show the worse of yours and the computed one. A tier that another person set is made milder by that
    person, or after a later visit at which every photo was looked at.

    Examples:
    deck-triage tier set --explain
    deck-triage tier set D-17 stop-use --why 'ledger is loose' --by ann
    """
    from triage.assess.acts import set_tier
    from triage.ingest import check_visit

    with open_library(library_path) as library:
        row = set_tier(library, deck, tier, why=why, by=need_by(by), visit=check_visit(visit))
    if as_json:
        emit(row)
    else:
        say(f"{deck}: {tier} by {by}.")


command.add_command(set_)
