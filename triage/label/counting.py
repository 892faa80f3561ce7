"""Which decks of a library a promise counts, tag by tag (the rule is `triage.label.pools`)."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

from triage.label.pools import Answer, Counted, Draw, counted_decks, start_of, waiting_decks
from triage.library import queries
from triage.library.answer_times import (
    AnswerTime,
    MachineTime,
    answer_times,
    arrivals,
    machine_times,
    photos_then,
)
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
            draws=[_now(event, _drawn_photos(library, event), deck_of) for event in draws.get(tag, ())],
        )
        for tag in tags
    }


def waiting_in_library(library: Library, tags: Collection[str], groups: DeckGroups) -> dict[str, list[str]]:
    """Return the drawn decks that are not wholly answered (names of groups), by tag.

    Reads the drawn decks alone, and everything of those tags for which other decks decide.
    """
    draws = draws_of(library)
    begun = [tag for tag in tags if tag in draws]
    drawn = {tag: [(event, _drawn_photos(library, event)) for event in draws[tag]] for tag in begun}
    shas = {sha for events in drawn.values() for _, then in events for here in then for sha in here}
    named = {groups.group(deck) for deck in deck_of_photos(library, (), shas).values()}
    decks = [deck for deck in queries.decks(library) if groups.group(deck) in named]
    deck_of = {sha: groups.group(deck) for sha, deck in deck_of_photos(library, decks).items()}
    came, starts = arrivals(library, deck_of), machine_times(library, begun)
    found: dict[str, list[str]] = {}
    unsure = []
    for tag in begun:
        now = [_now(event, then, deck_of) for event, then in drawn[tag]]
        wanted = {deck for draw in now for deck in draw.decks}
        of_tag = {sha: deck for sha, deck in deck_of.items() if deck in wanted}
        waiting = waiting_decks(
            of_tag,
            [_answer(one) for one in answer_times(library, [tag], of_tag).get(tag, ())],
            arrived=came,
            draws=now,
            starts={start_of(one.at, one.from_file, _known(one)) for one in starts.get(tag, ())},
        )
        if waiting is None:
            unsure.append(tag)
        found[tag] = list(waiting or ())
    if unsure:
        found |= {tag: list(one.waiting) for tag, one in counted_in_library(library, unsure, groups).items()}
    return {tag: waiting for tag, waiting in found.items() if waiting}


def draws_of(library: Library) -> dict[str, list[Event]]:
    """Return the events of random draws on record, by tag."""
    found: dict[str, list[Event]] = {}
    for event in queries.statements(library, POOL_BEGUN):
        found.setdefault(str(event.payload["tag"]), []).append(event)
    return found


def _drawn_photos(library: Library, event: Event) -> list[set[str]]:
    """Return the photos of each drawn deck when it was drawn."""
    return list(photos_then(library, event.payload["drawn"], event.lamport).values())


def _now(event: Event, then: Collection[set[str]], deck_of: Mapping[str, str]) -> Draw:
    """Where the photos of the drawn decks are now: decks are renamed, joined, split, and photos move."""
    decks: set[str] = set()
    gone = False
    for shas in then:
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
        known=_known(one),
    )


def _known(one: AnswerTime | MachineTime) -> bool:
    return one.at_known and one.asked_by != UNKNOWN_ORDER
