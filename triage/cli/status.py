"""`status`: where the library stands and the one next thing to do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from triage.cli._common import emit, json_option, library_option, named, open_library, say


@named("status")
@library_option
@json_option
def command(library_path: Path | None, as_json: bool) -> Any:
    """Where the library stands and the one next thing to do.

    Examples:
    deck-triage status -L season-2026
    """
    from triage.assess.status import drawn_lines, status_of, waiting_words

    with open_library(library_path) as library:
        status = status_of(library)
        path, waiting, drawn = library.path, waiting_words(library), drawn_lines(library)
    if as_json:
        emit(status)
        return
    say(f"{path}: {status['decks']} decks, {status['photos']} photos, {status['labels']} labels,")
    say(f"{status['unreviewed']} questions on core tags that no person has answered.")
    if waiting and status["step"] != "sort":
        say(waiting)
    for line in drawn:
        say(line)
    say(f"Next: {status['next']}")
