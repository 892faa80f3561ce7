"""Down to where each tag's photos are worth a look first: the lines that presort drew, kept in the cache.

A line belongs to the model that drew it. The file may be deleted: presort draws the lines again. Which photos
above a line are still open is asked of the database each time.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import ColumnElement, and_, func, select

from triage.domain.plurals import count_of
from triage.library import queries
from triage.library.records import UNSORTED
from triage.library.store import write_whole
from triage.library.tables import label, placing, suggestion

if TYPE_CHECKING:
    from pathlib import Path

    from triage.library.library import Library

_FILE = "look-first.json"


@dataclass(frozen=True)
class LookLine:
    """Where one tag's list ends.

    Attributes
    ----------
    tag : the tag.
    probability : a photo belongs to the list from this probability on; above 1 where the list is empty.
    listed, of : photos in the list, and photos that the machine ordered, when it was drawn.
    further : expected number of photos with the tag below the line.
    share : share of the tag's photos expected above the line, from decks left out; null where nobody can say.
    share_low, share_high : its 95 % interval.
    why_not : one sentence where the share cannot be said, else empty.
    """

    tag: str
    probability: float
    listed: int
    of: int
    further: float
    share: float | None = None
    share_low: float | None = None
    share_high: float | None = None
    why_not: str = ""

    def to_json(self) -> dict[str, Any]:
        """All fields, `why_not` null where it is empty."""
        return {**asdict(self), "why_not": self.why_not or None}

    def sentence(self) -> str:
        """Return in words how long the list is and what it is expected to hold."""
        photos = count_of(self.listed, "photo")
        if self.share is None:
            return f"{photos} of {self.of}; what share of it that finds cannot be said: {self.why_not}"
        return (
            f"{photos} of {self.of} hold about {self.share:.0%} of those that show it "
            f"(95 %: {self.share_low:.0%} to {self.share_high:.0%}, from decks left out)"
        )


def _path(library: Library) -> Path:
    return library.caches / _FILE


def keep_lines(library: Library, model: str, lines: Mapping[str, LookLine]) -> None:
    """Keep the lines of a model in place of all before."""
    rows = [asdict(one) for one in lines.values()]
    write_whole(_path(library), json.dumps({"model": model, "lines": rows}, allow_nan=False).encode())


def lines_of(library: Library) -> dict[str, LookLine]:
    """Return the lines of the model in use by tag; empty where none were drawn or the file is not whole."""
    try:
        said = json.loads(_path(library).read_text(encoding="utf-8"))
        if said["model"] != queries.model_in_use(library):
            return {}
        return {row["tag"]: LookLine(**row) for row in said["lines"]}
    except (OSError, ValueError, KeyError, TypeError):
        return {}


def _open_above(model: str, line: LookLine) -> ColumnElement[bool]:
    """Condition on `suggestion` and `placing`: above the line, at a deck, and answered by nobody."""
    answered = select(label.c.event).where(
        label.c.photo == suggestion.c.photo, label.c.current.is_(True), label.c.tag == line.tag
    )
    return and_(
        suggestion.c.model == model,
        suggestion.c.tag == line.tag,
        suggestion.c.probability >= line.probability,
        placing.c.current.is_(True),
        placing.c.deck != UNSORTED,
        ~answered.exists(),
    )


def open_above(library: Library) -> dict[str, int]:
    """Return how many photos above each tag's line nobody has answered, for tags that have one."""
    model, found = queries.model_in_use(library), {}
    lines = lines_of(library)
    with library.read() as connection:
        for tag, line in lines.items() if model else ():
            query = (
                select(func.count())
                .select_from(suggestion)
                .join(placing, placing.c.key == suggestion.c.photo)
                .where(_open_above(model or "", line))
            )
            number = int(connection.execute(query).scalar_one())
            if number:
                found[tag] = number
    return found


def leads_of(library: Library) -> dict[str, int]:
    """Return by deck for how many tags one of its photos stands above the line, answered by nobody."""
    model = queries.model_in_use(library)
    found: dict[str, int] = {}
    lines = lines_of(library)
    with library.read() as connection:
        for line in lines.values() if model else ():
            query = (
                select(placing.c.deck)
                .select_from(suggestion)
                .join(placing, placing.c.key == suggestion.c.photo)
                .where(_open_above(model or "", line))
                .distinct()
            )
            for deck in connection.execute(query).scalars():
                found[deck] = found.get(deck, 0) + 1
    return found
