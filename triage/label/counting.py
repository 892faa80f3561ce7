"""Which decks of a library a promise counts, tag by tag (the rule is `triage.label.pools`)."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

from triage.label.pools import Answer, Counted, Draw, counted_decks
from triage.library import queries
from triage.library.answer_times import AnswerTime, answer_times, arrivals, photos_then
from triage.library.counts import deck_of_photos
from triage.library.records import MACHINE_ORDERS, UNKNOWN_ORDER

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.log import Event
    from triage.library.look_alikes import DeckGroups

POOL_BEGUN = "pool-begun"
"""Event: a machine's order began to choose among decks of a tag, and which were drawn at random."""


def counted_in_library(library: Library, tags: Collection[str], groups: DeckGroups) -> dict[str, Counted]:
    """Return the counted decks (by the names of their groups) of each tag."""
    deck_of = {sha: groups.group(deck) for sha, deck in deck_of_photos(library).items()}
    said, came, draws = answer_times(library, tags), arrivals(library), draws_of(library)
    return {
        tag: counted_decks(
            deck_of,
            [_answer(one) for one in said.get(tag, ())],
            arrived=came,
            draws=[_now(library, event, deck_of) for event in draws.get(tag, ())],
        )
        for tag in tags
    }


def draws_of(library: Library) -> dict[str, list[Event]]:
    """Return the events of random draws on record, by tag."""
    found: dict[str, list[Event]] = {}
    for event in queries.statements(library, POOL_BEGUN):
        found.setdefault(str(event.payload["tag"]), []).append(event)
    return found


def _now(library: Library, event: Event, deck_of: Mapping[str, str]) -> Draw:
    """Where the photos of the drawn decks are now: decks are renamed, joined, split, and photos move."""
    decks: set[str] = set()
    gone = False
    for shas in photos_then(library, event.payload["drawn"], event.lamport).values():
        here = {deck_of[sha] for sha in shas if sha in deck_of}
        gone |= not here
        decks |= here
    return Draw(event.recorded_at, tuple(sorted(decks)), gone)


def _answer(one: AnswerTime) -> Answer:
    """An undone label is no longer an answer, but the machine's order that it came from still chose."""
    return Answer(
        one.photo,
        one.at,
        by_machine=one.asked_by in MACHINE_ORDERS or one.saw_machine,
        blind=not (one.saw_machine or one.undone or one.asked_by == "machine"),
        foreign=one.from_file,
        known=one.at_known and one.asked_by != UNKNOWN_ORDER,
    )
