"""What the labeling screen works on: the questions, where the person is, what was answered; no drawing.

Every answer is an event on the disk before the next question shows, so a killed terminal loses nothing.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from triage.domain.vocabulary import SHOWS
from triage.errors import BadInput
from triage.label.giving_way import finds, given_way
from triage.label.hanging import answered_with
from triage.label.order import Question, near_photos
from triage.label.pool_draws import begin_pools
from triage.label.rows import Where, by_part, give_labels
from triage.library import queries
from triage.library.derived import derived_in

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.library import Library
    from triage.library.records import Box, Photo, Suggestion

_PACE_OVER = 30
NUMBERED = 9
"""Open tags of a photo that have a number key."""


@dataclass
class Session:
    """One person's run through some questions."""

    library: Library
    by: str
    asked: list[Question]
    at: int = 0
    answered: dict[tuple[str, str], str] = field(default_factory=dict)
    boxes: list[Box] = field(default_factory=list)
    place: str | None = None
    count: int | None = None
    saw_machine: bool = False
    urgent: Collection[str] = ()
    """Tags of which one 'present' finds a deck: its other photos then come after the urgent lists."""
    derived: set[tuple[str, str]] = field(default_factory=set)
    """Photo x tag that an answer about a part answered with it in this run."""
    put_off: int = 0
    """Photos that the last answer moved behind the urgent lists."""
    _hanging: tuple[tuple[str, str, int], list[str]] | None = None
    _stamps: list[float] = field(default_factory=list)

    @property
    def question(self) -> Question | None:
        """The question that is shown, or null when all are answered."""
        return self.asked[self.at] if 0 <= self.at < len(self.asked) else None

    @property
    def done(self) -> int:
        """How many of the questions are answered."""
        return sum(1 for one in self.asked if (one.photo.sha, one.tag) in self.answered)

    def pace(self) -> float | None:
        """Return answers per minute over the last thirty, or null at the start."""
        recent = self._stamps[-_PACE_OVER:]
        if len(recent) < 3:
            return None
        return 60 * (len(recent) - 1) / max(1e-6, recent[-1] - recent[0])

    def open_tags(self) -> list[str]:
        """Return the tags that this run asks of the photo shown and that are not answered yet."""
        one = self.question
        if one is None:
            return []
        return [
            other.tag
            for other in self.asked
            if other.photo.sha == one.photo.sha and (other.photo.sha, other.tag) not in self.answered
        ]

    def urgent_photos(self) -> int:
        """Return how many photos of the urgent lists are not wholly answered in this run."""
        return len(
            {
                one.photo.sha
                for one in self.asked
                if one.urgent and (one.photo.sha, one.tag) not in self.answered
            }
        )

    def listed_photos(self) -> int:
        """Return how many photos of all lists to look at first are not wholly answered in this run."""
        return len(
            {
                one.photo.sha
                for one in self.asked
                if one.listed and (one.photo.sha, one.tag) not in self.answered
            }
        )

    def answered_with_part(self) -> list[str]:
        """Return what 'absent' answers along with the part that is asked about now."""
        one = self.question
        if one is None or not one.tag.startswith(SHOWS):
            return []
        key = (one.photo.sha, one.tag, len(self._stamps))
        if self._hanging is None or self._hanging[0] != key:
            vocabulary = self.library.vocabulary()
            wanted = dict.fromkeys((*self.open_tags(), *vocabulary.core))
            with self.library.read() as connection:
                said = queries.words(connection, photo=one.photo.sha)
                derived = derived_in(connection, photos=[one.photo.sha])
            words = {tag: word for (_, tag), word in said.items()}
            self._hanging = (key, answered_with(one.tag, words, vocabulary, wanted, derived))
        return self._hanging[1]

    def unmark(self) -> None:
        """Take away the squares, the place and the count that were marked and not yet answered with."""
        self.boxes, self.place, self.count = [], None, None

    def _begin(self) -> None:
        self.unmark()
        self.saw_machine = False

    def _forward(self) -> None:
        self._begin()
        for place in (*range(self.at + 1, len(self.asked)), *range(self.at)):
            one = self.asked[place]
            if (one.photo.sha, one.tag) not in self.answered:
                self.at = place
                return
        self.at = len(self.asked)

    def step(self, by: int) -> None:
        """Go to the next or the previous question, answered or not."""
        if self.asked:
            self.at = min(len(self.asked) - 1, max(0, self.at + by))
        self._begin()

    def jump(self, deck: str) -> None:
        """Go to the first question of the deck whose code starts with a text. Raises BadInput for none."""
        for place, one in enumerate(self.asked):
            if one.photo.deck.lower().startswith(deck.strip().lower()):
                self.at = place
                self._begin()
                return
        raise BadInput(f"No question is about a deck that starts with {deck!r}.")

    def answer(self, value: str) -> list[str]:
        """Answer the question that is shown; what was marked goes with it. Returns what was answered with it.

        Raises BadInput where a square, a place or a count is marked and the answer is not 'present'.
        """
        one = self.question
        if one is None:
            return []
        if value != "present":
            self._refuse_marks()
        with_part = self.answered_with_part() if value == "absent" else []
        self._give({one.tag: value, **dict.fromkeys(with_part, "absent")}, with_part)
        return with_part

    def none_of_the_rest(self) -> int:
        """Answer every open question about this one photo with absent; returns how many.

        Raises BadInput where something is marked.
        """
        self._refuse_marks()
        tags = self.open_tags()
        self._give(dict.fromkeys(tags, "absent"))
        return len(tags)

    def only_here(self, number: int | None = None, value: str = "present") -> tuple[str, int]:
        """Answer 'present', or 'unclear', to one open question about this photo, and 'absent' to the others.

        `number` counts the open tags from 1, as the panel shows them; without it, it is the question shown.
        Returns the tag and how many were answered absent. Raises BadInput where there is no such number, or
        where something is marked that belongs to another question.
        """
        one, tags = self.question, self.open_tags()
        if one is None:
            return "", 0
        if number is not None and not 0 < number <= len(tags):
            raise BadInput(f"There is no open question number {number} on this photo.")
        tag = one.tag if number is None else tags[number - 1]
        if tag != one.tag or value != "present":
            self._refuse_marks()
        rest = [other for other in tags if other != tag]
        self._give({tag: value, **dict.fromkeys(rest, "absent")})
        return tag, len(rest)

    def _refuse_marks(self) -> None:
        if self.boxes or self.place or self.count is not None:
            raise BadInput("What you marked goes with 'present'.", "Press p, or Esc to take the marks away.")

    def _give(self, values: dict[str, str], with_part: Sequence[str] = ()) -> None:
        """Store answers about the photo shown as one act; those that follow from the part as such."""
        one = self.question
        if one is None or not values:
            return
        tags = self.library.vocabulary().tags
        where = {(one.photo.sha, tag): by_part(tags[tag]) for tag in with_part}
        where[one.photo.sha, one.tag] = Where(tuple(self.boxes), self.place, self.count)
        give_labels(
            self.library,
            [(one.photo, values)],
            by=self.by,
            where_of=where,
            asked_by=one.asked_by,
            saw_machine=self.saw_machine,
        )
        for value in dict.fromkeys(values.values()):
            self._note([(one.photo.sha, tag) for tag in values if values[tag] == value], value)
        self.derived -= {(one.photo.sha, tag) for tag in values}
        self.derived |= {(one.photo.sha, tag) for tag in with_part}
        self._ask_again(one, values)
        self.put_off = self._put_off(one) if finds(values, self.urgent) else 0
        self._forward()

    def _put_off(self, found: Question) -> int:
        """Move the other urgent photos of a deck that was found behind the lists; returns how many photos."""
        self.asked, photos = given_way(self.asked, found, self.answered.keys())
        self.at = self.asked.index(found)
        return photos

    def _ask_again(self, one: Question, values: dict[str, str]) -> None:
        """What a part answered along is open again when the part shows after all."""
        shows = {tag for tag, value in values.items() if tag.startswith(SHOWS) and value != "absent"}
        tags = self.library.vocabulary().tags
        for key in [key for key in self.derived if key[0] == one.photo.sha and key[1] not in values]:
            if SHOWS + (tags[key[1]].element or "") in shows:
                self.derived.discard(key)
                self.answered.pop(key, None)

    def _note(self, keys: Sequence[tuple[str, str]], value: str) -> None:
        self.answered.update(dict.fromkeys(keys, value))
        if keys:
            self._stamps.append(time.monotonic())

    def undo(self) -> int:
        """Take back this person's last act and go back to it; returns how many answers it held."""
        events = self.library.undo(self.by)
        keys = [(event.payload.get("photo"), event.payload.get("tag")) for event in events]
        for key in keys:
            self.answered.pop(key, None)  # type: ignore[arg-type]
            self.derived.discard(key)
        self._hanging = None
        for place, one in enumerate(self.asked):
            if (one.photo.sha, one.tag) in keys:
                self.at = place
                break
        self._begin()
        return len(events)

    def suggestion(self) -> Suggestion | None:
        """Return the machine's word on the question; from now on the answer counts as made with it."""
        one = self.question
        if one is None:
            return None
        said = queries.suggestions(self.library, deck=one.photo.deck, tag=one.tag).get(
            (one.photo.sha, one.tag)
        )
        self.saw_machine = self.saw_machine or said is not None
        return said

    def take_machine_place(self) -> bool:
        """Mark where the machine looked; returns whether it had a place."""
        said = self.suggestion()
        if said is None or not said.where:
            return False
        self.boxes = [said.where[0]]
        return True

    def look_alikes(
        self, most: int = 12, progress: Progress | None = None, cancel: Cancel | None = None
    ) -> list[Photo]:
        """Return the photos nearest to the one shown that are not answered for its tag, nearest first.

        Photos without vectors get them first, which is slow. Raises Cancelled.
        The machine chooses them, so a pool of the tag begins here, with its random draw, as for its orders.
        """
        one = self.question
        if one is None:
            return []
        begin_pools(self.library, [one.tag], self.by)
        others = [
            photo for photo in queries.photos(self.library) if (photo.sha, one.tag) not in self.answered
        ]
        near = near_photos(self.library, one.photo, others, progress=progress, cancel=cancel)
        return [photo for photo in near if photo.sha != one.photo.sha][:most]

    def may_spread(self, value: str) -> bool:
        """Say whether an answer may be given to a run of look-alikes at once.

        `absent` of a defect never may: near-identical photos may show different hangers.
        """
        one = self.question
        return one is not None and (value == "present" or one.tag.startswith(SHOWS))

    def spread(self, value: str, photos: Sequence[Photo]) -> int:
        """Give one answer to the photo shown and to chosen look-alikes, as one act.

        Raises BadInput where `may_spread` forbids it.
        """
        one = self.question
        if one is None or not self.may_spread(value):
            raise BadInput(
                "'absent' of a defect is not spread: near-identical photos may show different places.",
                "Answer each photo by itself.",
            )
        chosen = [one.photo, *photos]
        give_labels(
            self.library, [(photo, {one.tag: value}) for photo in chosen], by=self.by, asked_by="like"
        )
        self._note([(photo.sha, one.tag) for photo in chosen], value)
        self._forward()
        return len(chosen)
