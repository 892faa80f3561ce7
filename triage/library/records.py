"""What the library holds, as frozen records.

Boxes are (x, y, width, height) in fractions of the upright photo; a zero-size box is a point.
Times are ISO 8601 strings, with a zone only where one is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

Box = tuple[float, float, float, float]

UNSORTED = "unsorted"
"""Where photos are while no deck is decided for them.

It is not a deck: nothing lists, assesses or reports it.
"""
AUDIT = "audit"
"""A photo that an audit drew, or that comes back blind after a contact sheet."""
PROMISE_COUNTS = ("deck", "taken", "random", "second-look", AUDIT)
"""Ways of asking whose labels a promise may count: the machine did not choose the photo."""
SHEET = "sheet"
MACHINE_ORDERS = ("doubtful", "dangerous", "learning", "like", "machine", SHEET)
"""Ways of asking in which the machine chose the photo, or its word was in view; `sheet` is a contact sheet of
what it proposes, confirmed as a whole."""
UNKNOWN_ORDER = "unknown"
"""A label from a file that does not say how its photo came to be asked."""
ASKED_BY = (*PROMISE_COUNTS, *MACHINE_ORDERS, UNKNOWN_ORDER)


@dataclass(frozen=True)
class Photo:
    """One photo at its place: original by hash, deck, visit and name below the deck's folder."""

    sha: str
    deck: str
    visit: str | None
    name: str
    width: int
    height: int
    orientation: int
    bytes: int
    taken_at: str | None
    burst: int | None
    quality: Mapping[str, Any] = field(default_factory=dict)
    camera: str | None = None

    @property
    def path_name(self) -> str:
        """How a person names it: `deck/name`."""
        return f"{self.deck}/{self.name}"


@dataclass(frozen=True)
class Label:
    """A person's word on photo x tag, as given."""

    photo: str
    tag: str
    value: str
    by: str
    at: str
    boxes: tuple[Box, ...] = ()
    place: str | None = None
    count: int | None = None
    asked_by: str = "taken"
    saw_machine: bool = False
    note: str | None = None
    event: str = ""


@dataclass(frozen=True)
class Word:
    """The present state of photo x tag: people's latest labels combined.

    `value` is the settled value; where people disagree and nobody settled, `disputed` is true and `value`
    is the worse one (`present` before `unclear` before `absent`).
    """

    photo: str
    tag: str
    value: str
    disputed: bool
    settled: bool
    labels: tuple[Label, ...]

    @property
    def boxes(self) -> tuple[Box, ...]:
        """All boxes that the agreeing labels carry."""
        return tuple(box for label in self.labels if label.value == self.value for box in label.boxes)


@dataclass(frozen=True)
class Suggestion:
    """The machine's word on photo x tag."""

    photo: str
    tag: str
    model: str
    score: float
    probability: float
    pile: str
    where: tuple[Box, ...] = ()


@dataclass(frozen=True)
class Fact:
    """Something measured or known about a deck at a visit."""

    deck: str
    visit: str | None
    key: str
    value: Any
    by: str
    at: str
    photos: tuple[str, ...] = ()


@dataclass(frozen=True)
class Finding:
    """What a person saw that no tag covers."""

    id: str
    deck: str
    visit: str | None
    tier: str
    text: str
    by: str
    at: str
    photos: tuple[str, ...] = ()
    place: str | None = None
    how: str = "seen"


@dataclass(frozen=True)
class PersonTier:
    """A person's own tier for a deck, with the reason."""

    deck: str
    tier: str
    why: str
    by: str
    at: str
    visit: str | None = None


@dataclass(frozen=True)
class Warned:
    """Who was told of a stop-use, how and when."""

    deck: str
    told: str
    how: str
    told_at: str
    by: str
    at: str


@dataclass(frozen=True)
class Lift:
    """The lifting of a stop-use by a named person after a repair."""

    deck: str
    why: str
    after: str
    by: str
    at: str


@dataclass(frozen=True)
class Closing:
    """A named person closed a concern, with the photos before and after at the same place.

    `same_place` says that the person compared both photos and confirmed that they show one place.
    """

    deck: str
    rule: str
    place: str | None
    before: str
    after: str
    why: str
    by: str
    at: str
    visit: str | None = None
    same_place: bool = False
