"""`backup`: the library as one file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, progress_line, say
from triage.domain.plurals import count_of


@named("backup")
@click.argument("file", type=click.Path(path_type=Path))
@library_option
@json_option
def command(file: Path, library_path: Path | None, as_json: bool) -> Any:
    """Write the library as one file; others may go on writing meanwhile.

    Examples:
    deck-triage backup season-2026.backup
    """
    from triage.library.backup import backup

    with open_library(library_path) as library:
        count = backup(library, file, progress_line())
    if as_json:
        emit({"file": str(file), "files": count})
    else:
        say(f"Wrote {count_of(count, 'file')} to {file}.")
