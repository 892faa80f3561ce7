"""A person played from the truth in a real library, by keys and contact sheets, with every act counted.

The questions, their order, what a key answers, the sheets and what comes back of them are the product's own;
here stands only what the person sees. The person sees a photo's true answers through a few errors: of what is
there 5 % is missed, and 2 % of all answers slip. The errors hang on the seed, the photo, the tag and whether
it is the second look, so that every way of working meets the same person. One act is one key, one click, or
one sheet confirmed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from tools.bench.season_sets import Truth
from triage.label.order import Question, questions
from triage.library import queries
from triage.presort.sheets import DOUBTFUL, confirm, next_heap
from triage.terminal.session import NUMBERED, Session
from triage.train.types import LIKELY_FROM

if TYPE_CHECKING:
    from triage.library import Library
    from triage.presort.sheets import Sheet

MISSES, SLIPS = 0.05, 0.02
NAME = "ann"


@dataclass
class Season:
    """What one person answered so far in one library, and after how many acts.

    Attributes
    ----------
    blindly : the person answers what the machine says instead of looking.
    """

    truth: Truth
    library: Library
    seed: int
    blindly: bool = False
    said: dict[tuple[str, str], str] = field(default_factory=dict)
    at: dict[tuple[str, str], int] = field(default_factory=dict)
    acts: int = 0
    by_kind: dict[str, int] = field(default_factory=dict)

    def _chance(self, photo: str, tag: str, what: str) -> float:
        look = ":again" if (photo, tag) in self.said else ""
        text = f"{self.seed}:{what}:{tag}:{photo}{look}"
        return int(hashlib.sha256(text.encode()).hexdigest()[:12], 16) / 16**12

    def sees(self, photo: str, tag: str) -> str:
        """Return what this person says of a photo when it is looked at."""
        if self.blindly:
            return self._machine_says(photo, tag)
        true = self.truth.answers.get((photo, tag), "absent")
        if true == "present" and self._chance(photo, tag, "miss") < MISSES:
            return "absent"
        if self._chance(photo, tag, "slip") < SLIPS:
            return "absent" if true == "present" else "present"
        return true

    def _machine_says(self, photo: str, tag: str) -> str:
        deck = self.truth.deck_of[photo]
        said = queries.suggestions(self.library, deck=deck, tag=tag).get((photo, tag))
        return "present" if said is not None and said.probability >= LIKELY_FROM else "absent"

    def _act(self, kind: str, answers: Mapping[tuple[str, str], str] | None = None, acts: int = 1) -> None:
        """Some acts of one kind, and what the last one answers."""
        self.acts += acts
        self.by_kind[kind] = self.by_kind.get(kind, 0) + acts
        for key, value in (answers or {}).items():
            self.said[key] = value
            self.at[key] = self.acts

    # ---- the labeling screen ----------------------------------------------------------------------

    def lists(self, urgent: Sequence[str]) -> None:
        """Answer the lists to look at first, those of urgent tags before the others, until they end."""
        tags = self.truth.defects
        asked = questions(self.library, by=NAME, tags=tags, order="dangerous", urgent=urgent)
        self._answer(asked, urgent)

    def decks(self, decks: Iterable[str]) -> None:
        """Answer what is open, deck by deck and photo by photo, parts with what hangs on them."""
        tags, parts = self.truth.defects, self.truth.parts
        for deck in decks:
            self._answer(
                questions(self.library, by=NAME, deck=deck, tags=tags, parts_of=lambda _: list(parts))
            )

    def _answer(self, asked: list[Question], urgent: Sequence[str] = ()) -> None:
        """Answer questions with as few keys as the screen allows; with urgent tags, until the lists end."""
        session = Session(self.library, NAME, asked, urgent=urgent)
        while (one := session.question) is not None and (not urgent or session.listed_photos()):
            tags = session.open_tags()
            views = {tag: self.sees(one.photo.sha, tag) for tag in tags}
            seen = [place for place, tag in enumerate(tags) if views[tag] != "absent"]
            if not seen:
                session.none_of_the_rest()
                answered = tags
            elif len(seen) == 1 and seen[0] < NUMBERED:
                session.only_here(seen[0] + 1, views[tags[seen[0]]])  # a number key, or its F key
                answered = tags
            else:
                answered = [one.tag, *session.answer(views[one.tag])]
            value = {tag: "absent" if tag not in tags else views[tag] for tag in answered}
            if len(answered) > 1 and answered is not tags:  # a part's 'no' answers what hangs on it
                value = dict.fromkeys(answered, "absent")
            self._act("key", {(one.photo.sha, tag): said for tag, said in value.items()})

    # ---- contact sheets -------------------------------------------------------------------------------

    def sheets(self, decks: Sequence[str]) -> None:
        """Confirm the heaps of every part over some decks, until none holds anything that is proposed."""
        for tag in self.truth.parts:
            left_open: set[str] = set()
            while (sheet := next_heap(self.library, tag, decks, without=left_open)) is not None:
                clicked, clicks = self._clicks(sheet)
                self._act("click", acts=clicks)
                seen = {photo.sha: max(photo.width, photo.height) for photo in sheet.photos}
                labels = confirm(self.library, sheet, by=NAME, seen=seen, clicked=clicked)
                self._act("sheet", {(one.photo, one.tag): one.value for one in labels})
                left_open |= {photo.sha for photo in sheet.photos} - {one.photo for one in labels}

    def _clicks(self, sheet: Sheet) -> tuple[dict[str, str], int]:
        """Return the answers that differ from what is proposed, and how many clicks they take.

        The doubtful ones take one click each, or one for all of them and one for each that differs.
        """
        proposed = sheet.proposed()
        if self.blindly:
            return {}, 0
        views = {photo.sha: self.sees(photo.sha, sheet.tag) for photo in sheet.photos}
        clicked = {sha: value for sha, value in views.items() if proposed.get(sha) != value}
        doubtful = [views[photo.sha] for photo in sheet.groups[DOUBTFUL]]
        alone = len(doubtful)
        together = 1 + alone - max(doubtful.count("present"), doubtful.count("absent"))
        return clicked, len(clicked) - alone + min(alone, together)

    # ---- what came of it --------------------------------------------------------------------------------

    def found_at(self, tags: Sequence[str], decks: Iterable[str]) -> dict[str, int | None]:
        """Return after which act each deck that truly has one of the tags was found; None for never."""
        found: dict[str, int | None] = {}
        for deck in decks:
            keys = [
                (photo, tag)
                for photo in self.truth.decks[deck]
                for tag in tags
                if self.truth.answers.get((photo, tag)) == "present"
            ]
            if keys:
                seen = [self.at[key] for key in keys if self.said.get(key) == "present"]
                found[deck] = min(seen, default=None)
        return found

    def missed(self, decks: Iterable[str]) -> tuple[int, int]:
        """Return how many true defects (photo x tag) were not answered 'present', and of how many."""
        keys = [
            (photo, tag)
            for deck in decks
            for photo in self.truth.decks[deck]
            for tag in self.truth.defects
            if self.truth.answers.get((photo, tag)) == "present"
        ]
        return sum(self.said.get(key) != "present" for key in keys), len(keys)
