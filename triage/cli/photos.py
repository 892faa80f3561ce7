"""`photos`: the photos of the library."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, say, table
from triage.domain.tiers import PILES
from triage.library import queries


@named("photos")
@click.option("--deck", metavar="D", help="Only this deck.")
@click.option("--tag", metavar="T", help="Only photos with an answer or a suggestion for this tag.")
@click.option("--pile", type=click.Choice(PILES), help="Only photos with a suggestion in this pile.")
@library_option
@json_option
def command(
    deck: str | None, tag: str | None, pile: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """List the photos with their labels.

    Examples:
    deck-triage photos --deck D-17
    deck-triage photos --tag missing-hanger --pile likely
    """
    with open_library(library_path) as library:
        if tag is not None:
            library.vocabulary().tag(tag)
        labels: dict[str, dict[str, str]] = defaultdict(dict)
        for (sha, name), word in queries.words(library, deck=deck).items():
            labels[sha][name] = word.value
        chosen = None
        if tag is not None or pile is not None:
            suggestions = queries.suggestions(library, deck=deck, tag=tag)
            chosen = {sha for (sha, _), one in suggestions.items() if pile is None or one.pile == pile}
            if pile is None:
                chosen |= {sha for sha, answers in labels.items() if tag in answers}
        rows: list[dict[str, Any]] = [
            {
                "photo": photo.sha,
                "name": photo.name,
                "deck": photo.deck,
                "visit": photo.visit,
                "taken_at": photo.taken_at,
                "width": photo.width,
                "height": photo.height,
                "labels": labels[photo.sha],
            }
            for photo in queries.photos(library, deck=deck)
            if chosen is None or photo.sha in chosen
        ]
    if as_json:
        emit(rows)
        return
    shown = [
        (
            row["photo"][:12],
            f"{row['deck']}/{row['name']}",
            row["visit"],
            row["taken_at"],
            ", ".join(f"{name}={value}" for name, value in row["labels"].items() if value != "absent"),
        )
        for row in rows
    ]
    say(table(shown, ("photo", "name", "visit", "taken at", "labels (absent left out)")))
