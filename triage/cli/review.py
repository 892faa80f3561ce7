"""`review`: the page on this machine."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from triage.cli._common import advise, emit, json_option, library_option, named, say


@named("review")
@click.option(
    "--home",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder that holds the libraries (else the one around the library in use, else ~/deck-triage).",
)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port (else any free one).")
@click.option("--no-open", is_flag=True, help="Do not open a browser; print the address only.")
@library_option
@json_option
def command(home: Path | None, port: int, no_open: bool, library_path: Path | None, as_json: bool) -> Any:
    """Open the page on this machine's loopback address and serve it until Ctrl-C.

    The address lets one browser in, once. Libraries are made by name below the home folder.

    Examples:
    deck-triage review
    deck-triage review -L season-2026
    deck-triage review --home libraries --port 8765 --no-open
    """
    from triage.web import start

    if library_path is None:
        library_path = click.get_current_context().find_root().params.get("library_path")
    running = start(home, library_path, port=port)
    url = running.url
    if as_json:
        emit({"url": url})
    else:
        say(url)
    sys.stdout.flush()
    advise("Ctrl-C closes the page. Everything is saved as you go.")
    if no_open or as_json:
        running.run()
        return 0
    import webbrowser

    from triage.web.entrance import entrance_file

    with entrance_file(running.site.home.folder, url) as file:
        webbrowser.open(file.absolute().as_uri())
        running.run()
    return 0
