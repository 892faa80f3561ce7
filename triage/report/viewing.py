"""The viewer as one script and one style: what the page serves in pieces, a report carries whole.

The modules under `viewer/` know no server. A report is one file that asks for nothing, so it holds them in a
single script, allowed by its hash in the file's own Content-Security-Policy and in the page's when it sends a
report. Without scripts, and on paper, a report reads as it always did.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Mapping
from functools import cache
from importlib import resources

from markupsafe import Markup

PIECES = ("dom.js", "marks.js", "turns.js", "view.js", "beside.js", "keys.js", "window.js", "pages.js")
"""The modules in the order in which they need each other."""
_LEFT_OUT = re.compile(r"^(?:import .*|//.*)?$")


@cache
def viewer_files() -> Mapping[str, bytes]:
    """Return the viewer's scripts and its style by file name."""
    folder = resources.files("triage.report") / "viewer"
    return {one.name: one.read_bytes() for one in folder.iterdir() if one.name.endswith((".js", ".css"))}


@cache
def viewer_script() -> Markup:
    """Return the whole viewer as one script: the modules in order, without imports and comments."""
    lines = ['"use strict";', "(() => {"]
    for piece in PIECES:
        for line in viewer_files()[piece].decode().splitlines():
            bare = line.strip()
            if not _LEFT_OUT.match(bare):
                lines.append(bare.removeprefix("export "))
    return Markup("\n".join([*lines, "})();"]))  # noqa: S704 (shipped with the program, nothing else in it)


@cache
def viewer_style() -> Markup:
    """Return the viewer's style for a report."""
    return Markup(viewer_files()["viewer.css"].decode())  # noqa: S704


@cache
def script_source() -> str:
    """Return how a Content-Security-Policy names the script: by its hash.

    Source: Content Security Policy Level 3, 2.3.1 (hash-source).
    """
    digest = hashlib.sha256(viewer_script().encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
