"""Where a library stands, counted by the database, and the one next thing to do."""

from __future__ import annotations

from typing import Any

from triage.library import Library
from triage.library.counts import deck_counts, label_count, pile_counts, unreviewed_count

_ENOUGH_TO_TRAIN = 40


def status_of(library: Library) -> dict[str, Any]:
    """Return counts and the next step, in the shape that scripts rely on."""
    from triage.presort.of_library import promise_standing

    decks = deck_counts(library)
    photos = sum(count for count, _ in decks.values())
    labels = label_count(library)
    model = library.model()
    standing = {tag: one.standing for tag, one in promise_standing(library).items()} if model else {}
    unreviewed = unreviewed_count(library, library.vocabulary().core, standing)
    piles = pile_counts(library)
    return {
        "decks": len(decks),
        "photos": photos,
        "labels": labels,
        "unreviewed": unreviewed,
        "model": model,
        "next": _next(library, photos, labels, unreviewed, piles),
    }


def _next(library: Library, photos: int, labels: int, unreviewed: int, piles: dict[str, int]) -> str:
    where = f"-L {library.path}"
    if photos == 0:
        return f"take photos in: deck-triage ingest FOLDER {where}"
    if labels < _ENOUGH_TO_TRAIN and library.model() is None:
        return f"label some photos: deck-triage label ask {where} --by NAME"
    if library.model() is None:
        return f"train a model: deck-triage train {where}"
    if not piles:
        return f"let it suggest: deck-triage presort {where}"
    if piles.get("likely") and unreviewed:
        return f"review what it suggests, dangerous first: deck-triage review {where}"
    if unreviewed:
        return f"answer what is open: deck-triage label ask {where} --by NAME"
    return f"write the report: deck-triage report --out report {where}"
