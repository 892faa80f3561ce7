"""What the labelling screen works on: the questions, where the person is, what was answered; no drawing.

Every answer is an event on the disk before the next question shows, so a killed terminal loses nothing.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from triage.domain.vocabulary import SHOWS
from triage.errors import BadInput
from triage.label.order import Question, near_photos
from triage.label.pool_draws import begin_pools
from triage.label.rows import give_labels, give_many
from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Box, Photo, Suggestion

_PACE_OVER = 30


@dataclass
class Session:
    """One person's run through some questions."""

    library: Library
    by: str
    asked: list[Question]
    at: int = 0
    answered: dict[tuple[str, str], str] = field(default_factory=dict)
    boxes: list[Box] = field(default_factory=list)
    saw_machine: bool = False
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

    def _forward(self) -> None:
        self.boxes, self.saw_machine = [], False
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
        self.boxes, self.saw_machine = [], False

    def jump(self, deck: str) -> None:
        """Go to the first question of the deck whose code starts with a text. Raises BadInput for none."""
        for place, one in enumerate(self.asked):
            if one.photo.deck.lower().startswith(deck.strip().lower()):
                self.at = place
                self.boxes, self.saw_machine = [], False
                return
        raise BadInput(f"No question is about a deck that starts with {deck!r}.")

    def answer(self, value: str) -> None:
        """Answer the question that is shown; the boxes that were marked go with it."""
        one = self.question
        if one is None:
            return
        boxes = self.boxes if value == "present" else []
        give_labels(
            self.library,
            one.photo,
            {one.tag: value},
            by=self.by,
            boxes=boxes,
            asked_by=one.asked_by,
            saw_machine=self.saw_machine,
        )
        self._note([(one.photo.sha, one.tag)], value)
        self._forward()

    def none_of_the_rest(self) -> int:
        """Answer every open question about this one photo with absent; returns how many."""
        one = self.question
        if one is None:
            return 0
        open_tags = [
            other.tag
            for other in self.asked
            if other.photo.sha == one.photo.sha and (other.photo.sha, other.tag) not in self.answered
        ]
        give_labels(
            self.library,
            one.photo,
            dict.fromkeys(open_tags, "absent"),
            by=self.by,
            asked_by=one.asked_by,
            saw_machine=self.saw_machine,
        )
        self._note([(one.photo.sha, tag) for tag in open_tags], "absent")
        self._forward()
        return len(open_tags)

    def _note(self, keys: Sequence[tuple[str, str]], value: str) -> None:
        self.answered.update(dict.fromkeys(keys, value))
        self._stamps.append(time.monotonic())

    def undo(self) -> int:
        """Take back this person's last act and go back to it; returns how many answers it held."""
        events = self.library.undo(self.by)
        keys = [(event.payload.get("photo"), event.payload.get("tag")) for event in events]
        for key in keys:
            self.answered.pop(key, None)  # type: ignore[arg-type]
        for place, one in enumerate(self.asked):
            if (one.photo.sha, one.tag) in keys:
                self.at = place
                break
        self.boxes, self.saw_machine = [], False
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

    def look_alikes(self, most: int = 12) -> list[Photo]:
        """Return the photos nearest to the one shown that are not answered for its tag, nearest first.

        The machine chooses them, so a pool of the tag begins here, with its random draw, as for its orders.
        """
        one = self.question
        if one is None:
            return []
        begin_pools(self.library, [one.tag], self.by)
        others = [
            photo for photo in queries.photos(self.library) if (photo.sha, one.tag) not in self.answered
        ]
        near = near_photos(self.library, one.photo, others)
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
        give_many(self.library, [(photo, {one.tag: value}) for photo in chosen], by=self.by, asked_by="like")
        self._note([(photo.sha, one.tag) for photo in chosen], value)
        self._forward()
        return len(chosen)
