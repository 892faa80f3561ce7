"""`forget`: removes photos for good."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import (
    advise,
    by_option,
    dry_run_option,
    emit,
    exit_for,
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


@named("forget")
@click.argument("photos", nargs=-1)
@click.option(
    "--copies",
    "purge",
    is_flag=True,
    help="Also delete copies from before upgrades that still hold them, and rewrite known backups.",
)
@dry_run_option
@by_option
@library_option
@json_option
def command(
    photos: tuple[str, ...],
    purge: bool,
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Remove photos for good; a tombstone stays. This cannot be undone.

    The original, every picture made from it, position and serial numbers, and the notes and places of its
    labels are deleted. Backups and copies that still hold a photo are named (exit code 3); copies that were
    carried elsewhere cannot be known. `--copies` alone purges what was removed before. Refused while an
    issued report uses one of the photos.

    Examples:
    deck-triage forget D-17/IMG_0412.jpg --by ann --dry-run
    deck-triage forget D-17/IMG_0412.jpg --copies --by ann
    deck-triage forget --copies
    """
    from triage.ingest.moving import forget
    from triage.library.backup import copies_that_hold, purge_copies
    from triage.library.removal import removed_photos

    if not photos and not purge:
        raise WrongUsage("No photo is named.", "Name one as deck/name or by its hash.")
    with open_library(library_path) as library:
        gone = [queries.find_photo(library, one) for one in photos]
        if gone:
            forget(library, gone, by=need_by(by), dry_run=dry_run)
        removed = removed_photos(library) if purge else set()
        held = copies_that_hold(library, removed | {one.sha for one in gone})
        if purge and not dry_run:
            purge_copies(library, held)
            held = []
    if as_json:
        emit({"photos": [one.sha for one in gone], "copies": [str(one) for one in held]})
    else:
        count = count_of(len(gone), "photo")
        say(f"{'Would remove' if dry_run else 'Removed'} {count} for good.")
    for one in held:
        advise(f"Still in a copy: {one}")
    if held and not dry_run:
        advise("To take it out of them too, run: deck-triage forget --copies")
    return exit_for(bool(held) and not dry_run)
