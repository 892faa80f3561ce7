"""`decks`: the decks of the library."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from triage.cli._common import advise, emit, json_option, library_option, named, open_library, say, table


@named("decks")
@library_option
@json_option
def command(library_path: Path | None, as_json: bool) -> Any:
    """List the decks with their tier and gaps, worst first.

    Examples:
    deck-triage decks -L season-2026
    """
    from triage.assess import assess_library
    from triage.assess.status import waiting_words
    from triage.library.counts import deck_counts

    with open_library(library_path) as library:
        counts = deck_counts(library)
        waiting, rows = waiting_words(library), []
        for one in assess_library(library):
            photos, labelled = counts.get(one.deck, (0, 0))
            rows.append(
                {
                    "deck": one.deck, "visit": one.visit, "photos": photos, "labelled": labelled,
                    "tier": one.tier, "tier_if_true": one.tier_if_true, "gaps": one.gaps,
                }
            )  # fmt: skip
    if waiting:
        advise(waiting)
    if as_json:
        emit(rows)
        return
    from triage.words.tiers import NOT_ENOUGH

    heads = ("deck", "visit", "photos", "labelled", "tier", "if suggestions are true", "gaps")
    say(
        table(
            [
                (row["deck"], row["visit"], row["photos"], row["labelled"], row["tier"] or NOT_ENOUGH,
                 row["tier_if_true"] or NOT_ENOUGH, row["gaps"])
                for row in rows
            ],
            heads,
        )
    )  # fmt: skip
