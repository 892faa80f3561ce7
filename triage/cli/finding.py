"""`finding add`: what no tag covers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say
from triage.library import queries


@click.group("finding")
def command() -> None:
    """Record what a person saw that no tag covers: bounce, lean, a probe that sinks in."""


@named("add")
@click.argument("deck")
@click.option("--tier", required=True, metavar="TIER", help="How bad it is.")
@click.option("--text", required=True, metavar="TEXT", help="What was seen.")
@click.option("--photo", "photos", multiple=True, metavar="P", help="A photo that shows it.")
@click.option("--place", metavar="TEXT", help="Where on the deck.")
@click.option("--how", default="seen", show_default=True, metavar="seen|probed|measured")
@click.option("--visit", metavar="DATE")
@by_option
@library_option
@json_option
def add(
    deck: str,
    tier: str,
    text: str,
    photos: tuple[str, ...],
    place: str | None,
    how: str,
    visit: str | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Record a finding on a deck.

    Examples:
    deck-triage finding add D-17 --tier repair-before-use --text 'ledger moves when pushed' --by ann
    """
    from triage.assess.said import add_finding
    from triage.ingest import check_visit

    with open_library(library_path) as library:
        row = add_finding(
            library,
            deck,
            tier=tier,
            text=text,
            by=need_by(by),
            place=place,
            how=how,
            photos=[queries.find_photo(library, one) for one in photos],
            visit=check_visit(visit),
        )
    if as_json:
        emit(row)
    else:
        say(f"Recorded the finding on {deck} ({tier}).")


command.add_command(add)
