"""`new`: an empty library."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import advise, emit, json_option, named, say


@named("new")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--shared", is_flag=True, help="Let the folder's group read and write it, not its owner alone.")
@json_option
def command(path: Path, shared: bool, as_json: bool) -> Any:
    """Make an empty library in a new folder. Other people on this machine cannot look into it.

    Examples:
    deck-triage new season-2026
    deck-triage new season-2026 --shared
    """
    from triage.library import Library

    with Library.create(path, group=shared) as library:
        if as_json:
            emit({"library": str(library.path)})
        else:
            say(f"Made the library {library.path}.")
            advise(f"Next: deck-triage ingest FOLDER -L {library.path}")
