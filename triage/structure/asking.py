"""The site sheet asked line by line: what comes next, what an answer does, one step back.

No input and output here: a terminal shows `Interview.line` and passes on what was typed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from triage.errors import BadInput
from triage.library import Library, queries
from triage.structure.facts import fact_key
from triage.structure.site_sheet import SheetLine, as_written, more_lines, short_lines
from triage.structure.telling import as_text, set_facts

UNDO, MORE, QUIT, EXPLAIN = "u", "more", "q", "?"


@dataclass(frozen=True)
class Step:
    """What an answer did: the key `saved` or null, `words` to show, `done` at the end."""

    words: str = ""
    saved: str | None = None
    done: bool = False


class Interview:
    """The questions of one deck at one visit; every answer is stored before the next question comes."""

    def __init__(
        self,
        library: Library,
        deck: str,
        *,
        by: str,
        visit: str | None = None,
        keys: Sequence[str] = (),
        more: bool = False,
    ) -> None:
        self._library, self._deck, self._by = library, deck, by
        self._visit = visit or queries.latest_visit(library, deck)
        lines = [*short_lines(), *more_lines()]
        wanted = [fact_key(key).key for key in keys]
        self._lines = [line for line in lines if line.key.key in wanted] if wanted else list(short_lines())
        if more and not wanted:
            self._lines += more_lines()
        self._at = 0
        self._answered: list[tuple[int, str, Any]] = []
        self.saved: dict[str, Any] = {}
        self._facts: dict[str, Any] = {}
        self._read()
        self._skip()

    def _read(self) -> None:
        found = queries.facts(self._library, self._deck, self._visit or queries.ANY_VISIT)
        self._facts = {key: fact.value for key, fact in found.items()}

    def _skip(self) -> None:
        while self._at < len(self._lines) and not self._lines[self._at].applies(self._facts):
            self._at += 1

    @property
    def line(self) -> SheetLine | None:
        """The question that is open, or null at the end."""
        return self._lines[self._at] if self._at < len(self._lines) else None

    @property
    def place(self) -> tuple[int, int]:
        """Number of the open question and how many there are."""
        return self._at + 1, len(self._lines)

    @property
    def known(self) -> str:
        """What is known already for the open question, as people write it; empty where nothing is."""
        line = self.line
        if line is None or line.key.key not in self._facts:
            return ""
        return as_written(line.key, self._facts[line.key.key])

    def answer(self, text: str) -> Step:
        """Take what was typed. Raises BadInput with nothing stored where it does not fit."""
        line, said = self.line, text.strip()
        if said.lower() == QUIT:
            self._at = len(self._lines)
            return Step(done=True)
        if said.lower() == UNDO:
            return self._back()
        if said.lower() == MORE:
            extra = [line for line in more_lines() if line not in self._lines]
            self._lines += extra
            return Step(f"{len(extra)} more questions come after these.", done=self.line is None)
        if line is None:
            return Step(done=True)
        if said == EXPLAIN:
            return Step(explain(line))
        if said:
            self._store(line, said)
        self._at += 1
        self._skip()
        return Step(saved=line.key.key if said else None, done=self.line is None)

    def _store(self, line: SheetLine, said: str) -> None:
        key = line.key.key
        before = self._facts.get(key)
        value = "" if said == "-" else said
        set_facts(self._library, self._deck, {key: value}, by=self._by, visit=self._visit)
        self._answered.append((self._at, key, before))
        self._read()
        self.saved[key] = self._facts.get(key)

    def _back(self) -> Step:
        """Take the last answer back and open its question again."""
        if not self._answered:
            raise BadInput("You have not answered anything yet.", "Press Enter to skip a question.")
        self._at, key, before = self._answered.pop()
        self._read()
        if self._facts.get(key) != before:
            value = "" if before is None else as_text(before)
            set_facts(self._library, self._deck, {key: value}, by=self._by, visit=self._visit)
        self._read()
        self.saved.pop(key, None)
        return Step(f"Took back {key}.")


def explain(line: SheetLine) -> str:
    """Return the help for one question: how to find out, what an answer looks like, and a drawing."""
    drawing = line.drawing or next(
        (one.drawing for one in short_lines() if one.section == line.section and one.drawing), ""
    )
    bounds = ""
    if line.key.choices:
        bounds = f"One of: {', '.join(line.key.choices)}."
    elif line.key.unit:
        bounds = f"In {line.key.unit}, from {line.key.low:g} to {line.key.high:g}."
    parts = [line.how, f"For example: {line.example}", bounds, drawing]
    return "\n".join(part for part in parts if part)
