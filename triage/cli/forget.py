"""`forget`: removes photos for good."""

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


@named("forget")
@click.argument("photos", nargs=-1, required=True)
@dry_run_option
@by_option
@library_option
@json_option
def command(
    photos: tuple[str, ...], dry_run: bool, by: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Remove photos for good; a tombstone stays. This cannot be undone.

    Refused while an issued report uses one of them.

    Examples:
    deck-triage forget D-17/IMG_0412.jpg --by ann --dry-run
    """
    from triage.ingest.moving import forget

    with open_library(library_path) as library:
        gone = forget(library, [library.photo(one) for one in photos], by=need_by(by), dry_run=dry_run)
    if as_json:
        emit({"photos": [one.sha for one in gone]})
    else:
        say(f"{'Would remove' if dry_run else 'Removed'} {len(gone)} photos for good.")
