"""`card`: the model card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, progress_line, say

if TYPE_CHECKING:
    from triage.library import Library
    from triage.presort.outlook import Outlook


@named("card")
@click.option("--tag", metavar="T", help="Only this tag.")
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write card.md, card.json and figures into this folder."
)
@click.option(
    "--outlook",
    type=click.IntRange(1, 10_000),
    metavar="N",
    help="Also estimate what N more labels would bring, from a learning curve; takes a while the first time.",
)
@library_option
@json_option
def command(
    tag: str | None, out: Path | None, outlook: int | None, library_path: Path | None, as_json: bool
) -> Any:
    """Show what the model in use was trained on, what it can do, and where it must not be used.

    Examples:
    deck-triage card
    deck-triage card --tag missing-hanger --json
    deck-triage card --out card
    deck-triage card --tag missing-hanger --outlook 50
    """
    from triage.train.card import card_of, markdown, write_card

    ahead: dict[str, Outlook] = {}
    with open_library(library_path) as library:
        card = card_of(library, tag)
        if outlook is not None:
            ahead = _ahead(library, card, outlook)
        files = write_card(library, out) if out is not None else []
    if ahead:
        card["outlook"] = {name: one.to_json() for name, one in ahead.items()}
    if as_json:
        emit({**card, "files": [str(file) for file in files]} if files else card)
    elif files:
        say("\n".join(str(file) for file in files))
    else:
        say(markdown(card))
    if ahead and not as_json:
        say("## What more labels would bring")
        say("\n".join(f"- {name}: {one.sentence()}" for name, one in ahead.items()))


def _ahead(library: Library, card: dict[str, Any], more: int) -> dict[str, Outlook]:
    from triage.presort.outlook_kept import outlook_of_library

    return outlook_of_library(library, tags=list(card["tags"]), more=more, progress=progress_line())
