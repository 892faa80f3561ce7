"""`move`: moves photos that are at the wrong deck."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import (
    by_option,
    dry_run_option,
    emit,
    json_option,
    library_option,
    named,
    need_by,
    open_library,
    say,
)
from triage.domain.plurals import count_of
from triage.errors import WrongUsage
from triage.library import queries


@named("move")
@click.argument("photos", nargs=-1)
@click.option("--from", "first", metavar="PHOTO", help="First photo of a run by time.")
@click.option("--to", "last", metavar="PHOTO", help="Last photo of the run.")
@click.option("--deck", required=True, metavar="D", help="The deck they belong to.")
@click.option("--visit", metavar="DATE", help="The visit they belong to.")
@click.option("--why", metavar="TEXT", help="The reason; it is kept.")
@dry_run_option
@by_option
@library_option
@json_option
def command(
    photos: tuple[str, ...],
    first: str | None,
    last: str | None,
    deck: str,
    visit: str | None,
    why: str | None,
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Place photos at another deck; `undo` puts them back.

    Examples:
    deck-triage move D-17/IMG_0412.jpg --deck D-19 --by ann
    deck-triage move --from D-17/IMG_0412.jpg --to D-17/IMG_0431.jpg --deck D-19 --by ann
    """
    from triage.ingest import check_visit
    from triage.ingest.moving import move, run_by_time

    with open_library(library_path) as library:
        if first or last:
            if not (first and last) or photos:
                raise WrongUsage("A run needs --from and --to, and no other photos.")
            chosen = run_by_time(
                library, queries.find_photo(library, first), queries.find_photo(library, last)
            )
        elif photos:
            chosen = [queries.find_photo(library, one) for one in photos]
        else:
            raise WrongUsage("No photo is named.", "Name photos, or a run with --from and --to.")
        moved = move(
            library, chosen, deck, by=need_by(by), visit=check_visit(visit), why=why, dry_run=dry_run
        )
    if as_json:
        emit({"photos": [one.sha for one in moved]})
    else:
        say(f"{'Would move' if dry_run else 'Moved'} {count_of(len(moved), 'photo')} to {deck}.")
