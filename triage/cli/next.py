"""`next`: which one photo, label or fact would most change the order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import advise, emit, json_option, library_option, named, open_library, say


@named("next")
@click.option("--n", default=10, show_default=True, type=click.IntRange(1, 1000), help="How many.")
@library_option
@json_option
def command(n: int, library_path: Path | None, as_json: bool) -> Any:
    """Say what to find out next: the label, fact or photo that would most change the order of decks.

    Examples:
    deck-triage next
    deck-triage next --n 3 --json
    """
    from triage.assess.next_look import next_best_of_library

    with open_library(library_path) as library:
        looks = next_best_of_library(library, n)
    if as_json:
        emit([one.to_json() for one in looks])
        return
    for number, one in enumerate(looks, 1):
        say(f"{number}. {one.deck}, {one.kind}: {one.what}")
        say(f"   {one.why}")
    if not looks:
        advise("Nothing that can be asked for would change the order now.")
