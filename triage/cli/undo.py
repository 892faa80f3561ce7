"""`undo`: takes back the speaker's last act."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say


@named("undo")
@by_option
@library_option
@json_option
def command(by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Take back your last act on labels, facts, findings, tiers or moves; the history keeps both.

    Examples:
    deck-triage undo --by ann
    """
    with open_library(library_path) as library:
        events = library.undo(need_by(by))
    if as_json:
        emit([{"kind": one.kind, "at": one.at, "by": one.by, **one.payload} for one in events])
    else:
        for one in events:
            what = ", ".join(
                f"{key}={value}" for key, value in one.payload.items() if value not in (None, [])
            )
            say(f"Took back {one.kind}: {what}")
