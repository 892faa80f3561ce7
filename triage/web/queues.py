"""Runs of questions that a person goes through one by one, kept while the page runs."""

from __future__ import annotations

import threading
from collections import Counter, OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.urgent import urgent_tags
from triage.errors import BadInput
from triage.label.giving_way import finds, given_way
from triage.label.order import ORDERS, Question, questions
from triage.library import queries
from triage.library.records import AUDIT

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Photo

PLACES = "places"
SECOND = "second-look"
WAYS = (*ORDERS, PLACES, SECOND, AUDIT)
SECOND_LOOKS = 40
_KEPT = 30


@dataclass(frozen=True)
class Wish:
    """Which questions somebody wants: in which order, of which deck and tag ('' for all)."""

    by: str
    order: str = "dangerous"
    deck: str = ""
    tag: str = ""


class Queues:
    """The runs of one page, by library and wish."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._runs: OrderedDict[tuple[str, Wish], list[Question]] = OrderedDict()
        self.audits: dict[str, dict[str, Any]] = {}
        """How the last audit of missed defects was asked, by library."""

    def start(self, name: str, library: Library, wish: Wish) -> list[Question]:
        """Ask again which questions are open. Raises BadInput where the order has nothing to go by."""
        run = self._audit(name, library) if wish.order == AUDIT else _ask(library, wish)
        with self._lock:
            self._runs[name, wish] = run
            self._runs.move_to_end((name, wish))
            while len(self._runs) > _KEPT:
                self._runs.popitem(last=False)
        return run

    def run(self, name: str, library: Library, wish: Wish) -> list[Question]:
        """Return the run that was started, or start it."""
        with self._lock:
            found = self._runs.get((name, wish))
        return found if found is not None else self.start(name, library, wish)

    def give_way(
        self, name: str, library: Library, wish: Wish, at: int, photo: Photo, answer: tuple[str, str]
    ) -> int:
        """Move a deck's other urgent photos behind the lists when an answer finds it; returns how many.

        `at` is the place of the question shown, `answer` the tag and the value. What was shown before and
        what this person has answered keeps its place. A run that is no longer kept, or holds another photo
        at that place, stays as it is.
        """
        tag, value = answer
        with self._lock:
            run = self._runs.get((name, wish), [])
            shown = 0 <= at < len(run) and run[at].photo.sha == photo.sha
        if not (shown and run[at].urgent and finds({tag: value}, urgent_tags(library))):
            return 0
        passed = {(one.photo.sha, one.tag) for one in run[: at + 1]}
        mine = queries.labels(library, deck=photo.deck)
        passed |= {(one.photo, one.tag) for one in mine if one.by == wish.by}
        moved, photos = given_way(run, run[at], passed)
        with self._lock:
            if self._runs.get((name, wish)) is run:
                self._runs[name, wish] = moved
        return photos

    def _audit(self, name: str, library: Library) -> list[Question]:
        """Return what the audit still wants answered. Raises BadInput where none was started."""
        from triage.audit import missed
        from triage.audit.asking import open_questions

        if name not in self.audits:
            raise BadInput("No audit was started since the page was opened.", "Start it on the audit's page.")
        return open_questions(library, missed(library, record=False, **self.audits[name]))


def _ask(library: Library, wish: Wish) -> list[Question]:
    deck, tags = wish.deck or None, (wish.tag,) if wish.tag else ()
    if wish.order == PLACES:
        return _without_place(library, wish)
    if wish.order == SECOND:
        return questions(library, by=wish.by, deck=deck, tags=tags, second_look=SECOND_LOOKS)
    urgent = urgent_tags(library)
    return questions(library, by=wish.by, deck=deck, tags=tags, order=wish.order, urgent=urgent)


def _without_place(library: Library, wish: Wish) -> list[Question]:
    """Return this person's 'present' without a mark: tags with the fewest marks first, decks in turn."""
    vocabulary = library.vocabulary()
    labels = [
        label
        for label in queries.labels(library, deck=wish.deck or None, tag=wish.tag or None)
        if label.value == "present" and label.tag in vocabulary.defects
    ]
    marked = Counter(label.tag for label in labels if label.boxes)
    photos = {photo.sha: photo for photo in queries.photos(library, wish.deck or None)}
    turn: Counter[tuple[str, str]] = Counter()
    rows = []
    for label in labels:
        if label.by == wish.by and not label.boxes and label.photo in photos:
            deck = photos[label.photo].deck
            rows.append((marked[label.tag], label.tag, turn[label.tag, deck], label.photo, label.asked_by))
            turn[label.tag, deck] += 1
    return [Question(photos[sha], tag, asked_by) for _, tag, _, sha, asked_by in sorted(rows)]
