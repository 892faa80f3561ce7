"""`restore`: a library from a backup."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, named, progress_line, say
from triage.domain.plurals import count_of


@named("restore")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("path", type=click.Path(path_type=Path))
@json_option
def command(file: Path, path: Path, as_json: bool) -> Any:
    """Make a library from a backup, in a new folder; every file is checked against its hash.

    Examples:
    deck-triage restore season.backup season-again
    """
    from triage.library.backup import restore

    count = restore(file, path, progress_line())
    if as_json:
        emit({"library": str(path), "files": count})
    else:
        say(f"Restored {count_of(count, 'file')} to {path}.")
