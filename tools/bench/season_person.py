"""A person played from the truth, in the terminal and on contact sheets, with every act counted.

The person sees a photo's true answers through a few errors: of what is there 5 % is missed, and 2 % of all
answers slip. The errors hang on the seed, the photo and the tag alone, so that every way of working meets the
same person. One act is one key, one click, or one sheet confirmed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from tools.bench.season_sets import Truth
from triage.domain.vocabulary import SHOWS
from triage.label.deck_order import along_the_load_path
from triage.label.hanging import answered_with
from triage.presort.sheets import DOUBTFUL, NO, YES

MISSES, SLIPS = 0.05, 0.02
A_SHEET = 60
"""Photos on one contact sheet."""


@dataclass
class Season:
    """What one person answered so far, and after how many acts."""

    truth: Truth
    seed: int
    said: dict[tuple[str, str], str] = field(default_factory=dict)
    at: dict[tuple[str, str], int] = field(default_factory=dict)
    acts: int = 0
    by_kind: dict[str, int] = field(default_factory=dict)

    def _chance(self, photo: str, tag: str, what: str) -> float:
        text = f"{self.seed}:{what}:{tag}:{photo}"
        return int(hashlib.sha256(text.encode()).hexdigest()[:12], 16) / 16**12

    def sees(self, photo: str, tag: str) -> str:
        """Return what this person says of a photo when it is looked at."""
        true = self.truth.answers.get((photo, tag), "absent")
        if true == "present" and self._chance(photo, tag, "miss") < MISSES:
            return "absent"
        if self._chance(photo, tag, "slip") < SLIPS:
            return "absent" if true == "present" else "present"
        return true

    def act(self, kind: str, answers: Mapping[tuple[str, str], str] | None = None) -> None:
        """One act, and what it answers."""
        self.acts += 1
        self.by_kind[kind] = self.by_kind.get(kind, 0) + 1
        for key, value in (answers or {}).items():
            self.said[key] = value
            self.at[key] = self.acts

    # ---- the labeling screen ----------------------------------------------------------------------

    def open_tags(self, photo: str, tags: Iterable[str]) -> list[str]:
        """Return the tags of a photo that are not answered, in the order in which the screen asks."""
        left = [tag for tag in tags if (photo, tag) not in self.said]
        return along_the_load_path(dict.fromkeys(left), self.truth.vocabulary) if left else []

    def one_question(self, photo: str, tag: str) -> None:
        """Answer one question of a list: one key."""
        self.act("key", {(photo, tag): self.sees(photo, tag)})

    def whole_photo(self, photo: str, tags: Sequence[str]) -> None:
        """Answer all open questions of a photo with as few keys as the screen allows."""
        while left := self.open_tags(photo, tags):
            views = {tag: self.sees(photo, tag) for tag in left}
            first, rest = left[0], left[1:]
            if all(value == "absent" for value in views.values()):
                self.act("key", {(photo, tag): "absent" for tag in left})
            elif views[first] == "present" and all(views[tag] == "absent" for tag in rest):
                self.act("key", {(photo, tag): views[tag] for tag in left})
            else:
                answers = {(photo, first): views[first]}
                if views[first] == "absent" and first.startswith(SHOWS):
                    follows = answered_with(first, {}, self.truth.vocabulary, rest)
                    answers |= {(photo, tag): "absent" for tag in follows}
                self.act("key", answers)

    # ---- contact sheets -------------------------------------------------------------------------------

    def sheet(self, tag: str, groups: Mapping[str, Sequence[str]], *, blindly: bool = False) -> None:
        """Confirm one contact sheet: one act, one more for each exception and each doubtful photo."""
        answers: dict[tuple[str, str], str] = {}
        for group, proposed in ((YES, "present"), (DOUBTFUL, ""), (NO, "absent")):
            for photo in groups.get(group, ()):
                view = (proposed or "absent") if blindly else self.sees(photo, tag)
                answers[photo, tag] = view
                if view != proposed and not blindly:
                    self.act("click")
        if answers:
            self.act("sheet", answers)

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
