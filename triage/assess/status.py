"""Where a library stands, counted by the database, and the one next thing to do."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from triage.assess.cache.lines import open_by_deck
from triage.assess.evidence import promise_words
from triage.assess.sheets_waiting import any_waiting
from triage.ingest.questions import left_out
from triage.ingest.questions import open_questions as waiting_questions
from triage.label.pool_draws import drawn_decks, drawn_words
from triage.library import Library, queries
from triage.library.counts import label_count, photo_counts, piles_present, unreviewed_count, waiting_count
from triage.library.look_lines import open_above
from triage.library.people import open_questions as open_names
from triage.library.records import UNSORTED

_ENOUGH_TO_TRAIN = 40
SORTING = (
    f"say where they belong: deck-triage photos --deck {UNSORTED} {{where}}, then"
    f" deck-triage move --from FIRST --to LAST --deck DECK {{where}} --by NAME"
)


def waiting_words(library: Library) -> str:
    """Return a sentence on the photos that wait for a deck and how to sort them; empty where none does."""
    number = waiting_count(library)
    if not number:
        return ""
    wait = (
        "1 photo is not assigned to a deck yet; totals leave it out"
        if number == 1
        else f"{number} photos are not assigned to a deck yet; totals leave them out"
    )
    return f"{wait}: {SORTING.format(where=f'-L {library.path}')}"


def status_of(library: Library) -> dict[str, Any]:
    """Return counts and the next step, in the shape that scripts rely on."""
    decks = photo_counts(library)
    waiting = waiting_count(library)
    photos = sum(decks.values())
    labels = label_count(library)
    model = queries.model_in_use(library)
    unreviewed = open_questions(library)
    piles = piles_present(library)
    first = open_above(library)
    step = next_step(
        photos, labels, unreviewed, piles, trained=model is not None, waiting=waiting, listed=bool(first)
    )
    return {
        "decks": len(decks),
        "photos": photos + waiting,
        "waiting": waiting,
        "questions": [one.to_json() for one in waiting_questions(library)],
        "set_aside": [
            {"id": one.id, "file": one.file, "reason": one.reason, "at": one.at} for one in left_out(library)
        ],
        "labels": labels,
        "unreviewed": unreviewed,
        "model": model,
        "step": step,
        "people": [list(pair) for pair in same_names(library)],
        "drawn": drawn_decks(library, library.vocabulary().core),
        "look_first": first,
        "sheets_wait": any_waiting(library),
        "next": _COMMANDS[step].format(where=f"-L {library.path}"),
    }


def same_names(library: Library) -> list[tuple[str, str]]:
    """Return pairs of names that may be one person's, by their spelling, and that nobody was asked about."""
    with library.read() as connection:
        return open_names(connection)


def drawn_lines(library: Library) -> list[str]:
    """Return what to answer first, where decks were drawn at random for a promise."""
    return drawn_words(library, library.vocabulary().core)


def open_questions(library: Library) -> int:
    """Return how many questions are open: as kept, counted again for decks that are out of date."""
    kept = open_by_deck(library)
    stale = [deck for deck in queries.decks(library) if deck not in kept]
    known = sum(kept.values())
    if not stale:
        return known
    return known + unreviewed_count(library, library.vocabulary().core, promise_words(library), stale)


def next_open_deck(library: Library, deck: str) -> str | None:
    """Return the deck after one, by name and round to the first, with open questions; null if none has."""
    decks, kept, core = queries.decks(library), open_by_deck(library), library.vocabulary().core
    promise: dict[str, str] | None = None
    place = decks.index(deck)
    for one in decks[place + 1 :] + decks[:place]:
        number = kept.get(one)
        if number is None:  # out of date: counted, not assessed
            promise = promise_words(library) if promise is None else promise
            number = unreviewed_count(library, core, promise, [one])
        if number:
            return one
    return None


def next_step(
    photos: int,
    labels: int,
    unreviewed: int,
    piles: Collection[str],
    *,
    trained: bool,
    waiting: int = 0,
    listed: bool = False,
) -> str:
    """Return the one next thing to do: add, sort, label, train, presort, review, answer or report.

    `listed` says that photos to look at first are open.

    `photos` are those at a deck; `waiting` ones come first as long as nobody has labeled anything, later
    they are mentioned with the next step.
    """
    if waiting and not (photos and labels):
        return "sort"
    if photos == 0:
        return "add"
    if not trained:
        return "label" if labels < _ENOUGH_TO_TRAIN else "train"
    if not piles:
        return "presort"
    if not unreviewed:
        return "report"
    return "review" if listed or "likely" in piles else "answer"


_COMMANDS = {
    "sort": SORTING,
    "add": "add photos: deck-triage ingest FOLDER {where}",
    "label": "label some photos: deck-triage label ask --elements {where} --by NAME",
    "train": "train a model: deck-triage train {where}",
    "presort": "get suggestions: deck-triage presort {where}",
    "review": "review what it suggests, dangerous first: deck-triage review {where}",
    "answer": "answer what is open: deck-triage label ask --elements {where} --by NAME",
    "report": "write the report: deck-triage report --out report {where}",
}
