"""`decks`: the decks of the library."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from triage.cli._common import (
    advise,
    emit,
    json_option,
    library_option,
    named,
    open_library,
    progress_line,
    say,
    table,
)


@named("decks")
@library_option
@json_option
def command(library_path: Path | None, as_json: bool) -> Any:
    """List the decks with their tier and gaps, worst first.

    Examples:
    deck-triage decks -L season-2026
    """
    from triage.assess.cache.lines import standings
    from triage.assess.status import waiting_words

    with open_library(library_path) as library:
        waiting = waiting_words(library)
        rows = [
            {
                "deck": one.deck,
                "visit": one.visit,
                "photos": one.photos,
                "labelled": one.labelled,
                "tier": one.tier,
                "tier_if_true": one.tier_if_true,
                "gaps": one.gaps,
            }
            for one in standings(library, progress_line()).lines
        ]
    if waiting:
        advise(waiting)
    if as_json:
        emit(rows)
        return
    from triage.domain.tiers import NOT_ENOUGH

    heads = ("deck", "visit", "photos", "labelled", "tier", "if suggestions are true", "gaps")
    say(
        table(
            [
                (
                    row["deck"],
                    row["visit"],
                    row["photos"],
                    row["labelled"],
                    row["tier"] or NOT_ENOUGH,
                    row["tier_if_true"] or NOT_ENOUGH,
                    row["gaps"],
                )
                for row in rows
            ],
            heads,
        )
    )
