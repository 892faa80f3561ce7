"""`next`: which one photo, label or fact would most change the order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, say

_DO = {"label": "answer", "fact": "find out the", "photo": "go back:"}
"""What to do, by kind of look."""


@named("next")
@click.option("--n", "count", type=click.IntRange(1, 1000), default=10, show_default=True, help="How many.")
@library_option
@json_option
def command(count: int, library_path: Path | None, as_json: bool) -> Any:
    """Say which one photo, label or fact would most likely change the order of the decks.

    Examples:
    deck-triage next --n 5
    """
    from triage.assess.next_look import next_best_of_library
    from triage.structure.site_sheet import label_of

    with open_library(library_path) as library:
        looks = next_best_of_library(library, count)
    if as_json:
        emit([{"deck": one.deck, "kind": one.kind, "what": one.what, "why": one.why} for one in looks])
        return
    for number, one in enumerate(looks, 1):
        what = label_of(one.what).lower() if one.kind == "fact" else one.what
        say(f"{number}. {one.deck}: {_DO[one.kind]} {what}. {one.why}".replace(".. ", ". "))
    if not looks:
        say("Nothing that could be asked would change the order.")
