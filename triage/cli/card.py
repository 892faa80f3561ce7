"""`card`: the model card."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, say


@named("card")
@click.option("--tag", metavar="T", help="Only this tag.")
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write card.md, card.json and figures into this folder."
)
@library_option
@json_option
def command(tag: str | None, out: Path | None, library_path: Path | None, as_json: bool) -> Any:
    """Show what the model in use was trained on, what it can do, and where it must not be used.

    Examples:
    deck-triage card
    deck-triage card --tag missing-hanger --json
    deck-triage card --out card
    """
    from triage.train.card import card_of, markdown, write_card

    with open_library(library_path) as library:
        card = card_of(library, tag)
        files = write_card(library, out) if out is not None else []
    if as_json:
        emit({**card, "files": [str(file) for file in files]} if files else card)
    elif files:
        say("\n".join(str(file) for file in files))
    else:
        say(markdown(card))
