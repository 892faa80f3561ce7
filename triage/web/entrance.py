"""Opening the page in a browser without its key on a command line.

Everybody on a machine can read the command lines of all programs. The browser is therefore given the name of
a private file, which leads on to the address with the key; the key lets one browser in, once.
"""

from __future__ import annotations

import html
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from triage.library.store import write_whole

_PATTERN = "open-page-????????.html"


@contextmanager
def entrance_file(home: Path, url: str) -> Iterator[Path]:
    """Make a file, readable by its owner alone, that leads a browser to an address; gone afterward.

    It is made in the home folder of the libraries: some browsers may not read the system's temporary folder.
    """
    home.mkdir(parents=True, exist_ok=True)
    for old in home.glob(_PATTERN):  # left by a page that was killed; its key died with it
        old.unlink(missing_ok=True)
    file = home / f"open-page-{secrets.token_hex(4)}.html"
    address = html.escape(url, quote=True)
    write_whole(
        file,
        (
            '<!doctype html><meta charset="utf-8"><meta name="referrer" content="no-referrer">'
            f'<meta http-equiv="refresh" content="0; url={address}"><title>deck-triage</title>'
            f'<p><a href="{address}">Open the page</a></p>\n'
        ).encode(),
    )
    file.chmod(0o600)
    try:
        yield file
    finally:
        file.unlink(missing_ok=True)
