"""What keeps contact sheets honest: one photo in twenty of a confirmed 'no' comes back, blind.

Which ones is decided by a hash of tag and photo, so that nobody can choose them and anybody can check them.
They are asked among the other questions, without the machine's word and without what was said before.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.library import queries
from triage.library.records import SHEET

if TYPE_CHECKING:
    from collections.abc import Sequence

    from triage.library import Library
    from triage.library.records import Label

ONE_IN = 20


def is_drawn(tag: str, sha: str) -> bool:
    """Say whether a photo comes back after a sheet answered it 'no' for a tag."""
    return int(hashlib.sha256(f"{tag}:{sha}".encode()).hexdigest(), 16) % ONE_IN == 0


@dataclass(frozen=True)
class SheetCheck:
    """Of one tag's confirmed 'no's: how many there are, came back, were looked at again, and were wrong."""

    tag: str
    confirmed: int
    drawn: int
    looked: int
    wrong: int

    def to_json(self) -> dict[str, Any]:
        """Return the counts by name."""
        return {
            "tag": self.tag,
            "confirmed": self.confirmed,
            "drawn": self.drawn,
            "looked": self.looked,
            "wrong": self.wrong,
        }


def due(library: Library, deck: str | None = None) -> list[tuple[str, str]]:
    """Return the (photo, tag) that come back and nobody has looked at again yet."""
    pairs = queries.answers_to_sheets(library, deck)
    return [key for key, labels in pairs.items() if is_drawn(key[1], key[0]) and _again(labels) is None]


def sheet_checks(library: Library) -> list[SheetCheck]:
    """Count by tag what sheets confirmed as 'no' and what came of those that came back."""
    by_tag: dict[str, list[tuple[str, list[Label]]]] = defaultdict(list)
    for (sha, tag), labels in queries.answers_to_sheets(library).items():
        by_tag[tag].append((sha, labels))
    found = []
    for tag, rows in sorted(by_tag.items()):
        drawn = [labels for sha, labels in rows if is_drawn(tag, sha)]
        again = [one for labels in drawn if (one := _again(labels)) is not None]
        wrong = sum(one.value != "absent" for one in again)
        found.append(SheetCheck(tag, len(rows), len(drawn), len(again), wrong))
    return found


def _again(labels: Sequence[Label]) -> Label | None:
    """Return the first answer that was given blind after the sheet's, or null."""
    sheet = next(place for place, one in enumerate(labels) if one.asked_by == SHEET and one.value == "absent")
    later = (one for one in labels[sheet + 1 :] if one.asked_by != SHEET and not one.saw_machine)
    return next(later, None)
