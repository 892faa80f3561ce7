"""`new`: an empty library."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import advise, emit, json_option, named, say


@named("new")
@click.argument("path", type=click.Path(path_type=Path))
@json_option
def command(path: Path, as_json: bool) -> Any:
    """Make an empty library in a new folder.

    Examples:
    deck-triage new season-2026
    """
    from triage.library import Library

    with Library.create(path) as library:
        if as_json:
            emit({"library": str(library.path)})
        else:
            say(f"Made the library {library.path}.")
            advise(f"Next: deck-triage ingest FOLDER -L {library.path}")
