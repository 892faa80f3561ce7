"""The repair round: each photo of an open concern beside the later one that may close it, and what is left.

The list records nothing and closes nothing: the conditions of a closing are asked of one that nobody has made
yet, so that what is missing can be said. Answering and closing is `repair_acts`, by a person.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.places import place_key
from triage.assess.records import is_of_finding
from triage.assess.visits import fault
from triage.domain.reviewing import PRESENT
from triage.domain.vocabulary import SHOWS
from triage.library import queries
from triage.library.naming import distinct_names
from triage.library.records import Box, Closing, Photo
from triage.matching.words import ANOTHER, SAME, told
from triage.report.gather import REPAIR_DONE, repairs_done
from triage.report.source import RepairDone
from triage.report.text import clean

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckEvidence, DeckSummary
    from triage.assess.rules import RuleBook
    from triage.library import Library

HOLDS, COMPARE, LOOK, NO_PHOTO, STAYS, OPEN = "holds", "compare", "look", "no-photo", "stays", "open"
STATES = {
    LOOK: "The crew or a later photo says it may be repaired: look at the photo after and answer.",
    COMPARE: "Everything is answered: it can be closed when you confirm that both photos show one place.",
    HOLDS: "Every condition holds: it can be closed.",
    NO_PHOTO: "The crew says that it is done, and no later photo shows it.",
    STAYS: "It was looked at again and stays open.",
    OPEN: "No later photo is known to show the place.",
}
"""How a line of the round stands, in the order in which lines are shown."""
AWAITING = (LOOK, COMPARE, HOLDS)
"""States in which only a person's look is missing."""


@dataclass(frozen=True)
class Pair:
    """One photo of an open concern, with the later photo that may show its place, or null.

    `tie` says why the two are put together: 'crew' (the crew's sheet names it), 'place' (the same place
    words), 'name' (the same file name, as of photos taken from the same place); empty where there is none.
    `condition` is the condition of the table of acts that does not hold yet.
    """

    deck: str
    rule: str
    tag: str | None
    element: str | None
    tier: str
    place: str | None
    concluded: str
    repair: str
    state: str
    reason: str
    mend: str
    before: Photo | None = None
    after: Photo | None = None
    names: tuple[str | None, str | None] = (None, None)
    tie: str = ""
    condition: str | None = None
    done_by: str | None = None
    done_on: str | None = None
    boxes: tuple[Box, ...] = ()

    @property
    def id(self) -> str:
        """The line's name in a form: the same as long as deck, rule, place and both photos are."""
        photos = [one.sha if one else "" for one in (self.before, self.after)]
        said = "\x1f".join([self.deck, self.rule, self.place or "", *photos])
        return hashlib.sha256(said.encode()).hexdigest()[:24]

    def to_json(self) -> dict[str, Any]:
        """Return the keys of `repairs list --json`."""
        return {
            "deck": self.deck,
            "rule": self.rule,
            "tag": self.tag,
            "element": self.element,
            "tier": self.tier,
            "place": self.place,
            "state": self.state,
            "reason": self.reason,
            "mend": self.mend,
            "photo_before": self.before.sha if self.before else None,
            "photo_after": self.after.sha if self.after else None,
            "name_before": self.names[0],
            "name_after": self.names[1],
            "tie": self.tie,
            "condition": self.condition,
            "done_by": self.done_by,
            "done_on": self.done_on,
        }


def repair_round(lib: Library, decks: Sequence[str] | None = None) -> list[Pair]:
    """Return the lines of some decks, or of all that had a second visit or a crew's sheet.

    What waits for a look comes first. Raises BadInput for an unknown deck.
    """
    from triage.assess.evidence import gather_all, rule_book_of
    from triage.assess.summary import assess_deck

    wanted = list(decks) if decks else decks_in_round(lib)
    if not wanted:
        return []
    book, vocabulary = rule_book_of(lib), lib.vocabulary()
    found: list[Pair] = []
    for evidence in gather_all(lib, wanted):
        summary = assess_deck(evidence, book, vocabulary)
        found += pairs_of(evidence, summary, book, repairs_done(lib, evidence.deck))
    order = list(STATES)
    return sorted(found, key=lambda one: order.index(one.state))


def awaiting(lib: Library, decks: Sequence[str] | None = None) -> list[Pair]:
    """Return the lines that only wait for a person's look."""
    return [one for one in repair_round(lib, decks) if one.state in AWAITING]


def decks_in_round(lib: Library, among: Collection[str] | None = None) -> list[str]:
    """Return the decks of which a crew said something, then those visited again that have something open.

    With `among` only those of these decks.
    """
    from triage.assess.cache.lines import open_on_photos
    from triage.library.counts import decks_visited_again

    wanted = set(queries.decks(lib)) if among is None else set(among)
    told = sorted({event.payload["deck"] for event in queries.statements(lib, REPAIR_DONE)} & wanted)
    again = [deck for deck in decks_visited_again(lib) if deck in wanted]
    known = open_on_photos(lib, again)
    return list(dict.fromkeys([*told, *(deck for deck in again if known.get(deck, True))]))


def pairs_of(
    evidence: DeckEvidence, summary: DeckSummary, book: RuleBook, crew: Sequence[RepairDone] = ()
) -> list[Pair]:
    """Return the lines of one deck, concerns as they are listed, photos by visit."""
    maker = _Maker(evidence, book)
    found: list[Pair] = []
    for concern in summary.concerns:
        if concern.is_open and concern.standing != "possible":
            found += maker.of(concern, _word_of_crew(concern, crew, book))
    return found


def _word_of_crew(concern: Concern, crew: Sequence[RepairDone], book: RuleBook) -> RepairDone | None:
    """Return the last thing that a crew said about a concern: its rule or its tag, at its place."""

    def about(one: RepairDone) -> bool:
        rule = book.rules.get(one.rule)
        same = one.rule == concern.rule or bool(rule and concern.tag and rule.primary_tag == concern.tag)
        return same and place_key(one.place) == place_key(clean(concern.place or ""))

    return next((one for one in reversed(crew) if about(one)), None)


class _Maker:
    """Makes the lines of one deck."""

    def __init__(self, evidence: DeckEvidence, book: RuleBook) -> None:
        self.evidence, self.book, self.visits = evidence, book, evidence.visits()
        self.photos = {p.sha: (number, p) for number, v in enumerate(self.visits) for p in v.photos}
        self.names = distinct_names(photo for _, photo in self.photos.values())
        self.places = _places(self.visits)

    def of(self, concern: Concern, said: RepairDone | None) -> Iterator[Pair]:
        rule = self.book.rules.get(concern.rule)
        on_photos = bool(rule and rule.primary_tag) or is_of_finding(concern.rule)
        shown = [self.photos[sha] for sha in concern.photos if sha in self.photos]
        if not on_photos or not shown:
            yield self._line(concern, said, OPEN, *self._facts_words())
            return
        for number, before in sorted(shown, key=lambda one: one[0]):
            after, tie = self._after(concern, number, before, said)
            yield self._pair(concern, said, before, after, tie)

    def _facts_words(self) -> tuple[str, str]:
        mend = f"deck-triage facts set {self.evidence.deck} KEY=VALUE --visit DATE --by NAME"
        return "It rests on facts or a calculation: it goes when what is there now is recorded.", mend

    def _line(
        self, concern: Concern, said: RepairDone | None, state: str, reason: str, mend: str, **more: Any
    ) -> Pair:
        done = said if said is not None and said.done else None
        return Pair(
            deck=self.evidence.deck,
            rule=concern.rule,
            tag=concern.tag,
            element=concern.element,
            tier=concern.tier,
            place=concern.place,
            concluded=concern.concluded,
            repair=concern.repair,
            state=state,
            reason=reason,
            mend=mend,
            done_by=(done.done_by or done.by) if done else None,
            done_on=done.day if done else None,
            **more,
        )

    def _after(
        self, concern: Concern, number: int, before: Photo, said: RepairDone | None
    ) -> tuple[Photo | None, str]:
        """Return the later photo that is likeliest to show the place, with why; a person decides."""
        if said is not None and said.photo in self.photos and said.photo != before.sha:
            return self.photos[said.photo][1], "crew"
        later = [(n, photo) for n, photo in self.photos.values() if n > number]
        found: list[tuple[int, int, int, str, Photo, str]] = []
        for visit, photo in later:
            words = told(self.places.get(before.sha, ()), self.places.get(photo.sha, ()))
            if words == SAME:
                rank, tie = 1, "place"
            elif photo.name == before.name and words != ANOTHER:
                rank, tie = (2 if concern.place else 0), "name"
            else:
                continue
            unheld = self._fault(concern, before, photo) is not None
            found.append((rank, int(unheld), -visit, photo.sha, photo, tie))
        found.sort(key=lambda one: one[:4])
        return (found[0][4], found[0][5]) if found else (None, "")

    def _fault(self, concern: Concern, before: Photo, after: Photo) -> Any:
        closing = Closing(
            self.evidence.deck,
            concern.rule,
            concern.place or "",
            before.sha,
            after.sha,
            "",
            "",
            "",
            after.visit,
            False,
        )
        return fault(closing, self.visits, self.book)

    def _pair(
        self, concern: Concern, said: RepairDone | None, before: Photo, after: Photo | None, tie: str
    ) -> Pair:
        names = (self.names[before.sha], self.names[after.sha] if after else None)
        more: dict[str, Any] = {"before": before, "after": after, "names": names, "tie": tie}
        more["boxes"] = tuple(concern.boxes.get(before.sha, ()))
        deck = self.evidence.deck
        if after is None:
            state = NO_PHOTO if said is not None and said.done else OPEN
            reason = STATES[state]
            if said is not None and not said.done:
                reason = f"The crew says that it is not done.{f' {said.note}' if said.note else ''}"
            mend = f"deck-triage close {deck} --propose --before {names[0]}"
            return self._line(concern, said, state, reason, mend, **more)
        found = self._fault(concern, before, after)
        if found is None:
            mend = f"deck-triage repairs close {deck} --why TEXT --by NAME"
            return self._line(concern, said, HOLDS, STATES[HOLDS], mend, **more)
        more["condition"] = found.condition
        close = f"deck-triage close {deck} {concern.rule} --before {names[0]} --after {names[1]}"
        if found.condition in ("same-place", "clock"):
            where = "" if concern.place else f" --place {part_of(concern.element)}"
            mend = f"{close}{where} --same-place --why TEXT --by NAME"
            return self._line(concern, said, COMPARE, STATES[COMPARE], mend, **more)
        if found.condition in ("part-seen", "defect-absent") and not self._answered(concern, after, found):
            asked = [f"{SHOWS}{concern.element}=ANSWER"] if concern.element else []
            asked += [f"{concern.tag}=ANSWER"] if concern.tag else []
            mend = f"deck-triage label set {names[1]} {' '.join(asked) or 'TAG=ANSWER'} --by NAME"
            return self._line(concern, said, LOOK, STATES[LOOK], mend, **more)
        mend = f"deck-triage label log {names[1]}"
        return self._line(concern, said, STAYS, f"{found.detail}.", mend, **more)

    def _answered(self, concern: Concern, after: Photo, found: Any) -> bool:
        """Return whether a person has answered what the condition asks for: then the photo was looked at."""
        words = self.visits[self.photos[after.sha][0]].words
        shown, seen = (
            words.get((after.sha, tag)) for tag in (f"{SHOWS}{concern.element}", concern.tag or "")
        )
        if is_of_finding(concern.rule):
            return any(sha == after.sha for sha, _ in words)
        if seen is not None and (seen.value == PRESENT or seen.disputed):
            return True
        return shown is not None if found.condition == "part-seen" else seen is not None


def part_of(element: str | None) -> str:
    """Return what a closing names as the place of a concern that has none: the part, in one word."""
    return element or "whole-deck"


def _places(visits: Collection[DeckEvidence]) -> Mapping[str, set[str]]:
    """Return the place words of each photo's labels."""
    found: dict[str, set[str]] = {}
    for visit in visits:
        for (sha, _), word in visit.words.items():
            found.setdefault(sha, set()).update(one.place for one in word.labels if one.place)
    return found
