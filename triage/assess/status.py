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
    step = next_step(photos, labels, unreviewed, piles, trained=model is not None)
    return {
        "decks": len(decks),
        "photos": photos,
        "labels": labels,
        "unreviewed": unreviewed,
        "model": model,
        "step": step,
        "next": _COMMANDS[step].format(where=f"-L {library.path}"),
    }


def next_step(photos: int, labels: int, unreviewed: int, piles: dict[str, int], *, trained: bool) -> str:
    """Return the one next thing to do: add, label, train, presort, review, answer or report."""
    if photos == 0:
        return "add"
    if not trained:
        return "label" if labels < _ENOUGH_TO_TRAIN else "train"
    if not piles:
        return "presort"
    if not unreviewed:
        return "report"
    return "review" if piles.get("likely") else "answer"


_COMMANDS = {
    "add": "take photos in: deck-triage ingest FOLDER {where}",
    "label": "label some photos: deck-triage label ask {where} --by NAME",
    "train": "train a model: deck-triage train {where}",
    "presort": "let it suggest: deck-triage presort {where}",
    "review": "review what it suggests, dangerous first: deck-triage review {where}",
    "answer": "answer what is open: deck-triage label ask {where} --by NAME",
    "report": "write the report: deck-triage report --out report {where}",
}
