"""What the report needs to know beside the summaries: a frozen picture of the library's state.

Everything that renders works on these records alone, so a report can be made, tested and checked without
a library; `triage.report.gather` fills them from one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from triage.assess.grown import SeverityChange
from triage.library.records import Box, Closing, Fact, Finding, Label, Lift, PersonTier, Photo, Warned
from triage.report.firm import Firm
from triage.report.pictures import PhotoProvider

LAYOUT = 6
"""How pages are laid out. Raised when words or templates change, to tell apart what was issued before."""


@dataclass(frozen=True)
class RepairDone:
    """What a crew's sheet said about one repair. `done_by` and `place` are words; `photo` a hash or null."""

    rule: str
    done: bool
    by: str
    at: str
    count: int | None = None
    day: str | None = None
    place: str | None = None
    done_by: str | None = None
    photo: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class DeckRecord:
    """Everything that is known and was said about one deck."""

    photos: tuple[Photo, ...] = ()
    labels: tuple[Label, ...] = ()
    facts: Mapping[str, Fact] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    person_tier: PersonTier | None = None
    closings: tuple[Closing, ...] = ()
    warnings: tuple[Warned, ...] = ()
    lifts: tuple[Lift, ...] = ()
    lift_faults: tuple[str, ...] = ()
    """For each lifting the condition of the table of acts that does not hold any more; empty where all do."""
    repairs: tuple[RepairDone, ...] = ()
    private: Mapping[str, str] = field(default_factory=dict)
    positions: Mapping[str, str] = field(default_factory=dict)
    grown: tuple[SeverityChange, ...] = ()


@dataclass(frozen=True)
class Source:
    """The state of a library that a report is made from.

    `head` is {log id: {"seq", "hash"}}; `element_of` maps a defect tag to its element; `waiting` is how many
    photos stand at no deck yet.
    """

    library_id: str
    head: Mapping[str, Mapping[str, Any]]
    decks: Mapping[str, DeckRecord]
    provider: PhotoProvider
    versions: Mapping[str, str] = field(default_factory=dict)
    definitions: Mapping[str, str] = field(default_factory=dict)
    element_of: Mapping[str, str] = field(default_factory=dict)
    blackouts: Mapping[str, Sequence[Box]] = field(default_factory=dict)
    waiting: int = 0
    firm: Firm = field(default_factory=Firm)

    def record(self, deck: str) -> DeckRecord:
        """Return the record of a deck, an empty one where nothing is known."""
        return self.decks.get(deck, DeckRecord())


@dataclass(frozen=True)
class Issue:
    """What the person who issues a report says about it. `date` is ISO 8601, today where left out.

    `amends` is the number of the issued report that this one replaces.
    """

    signer: str
    scope: str
    limits: str
    weather: str
    date: str | None = None
    amends: str | None = None


@dataclass(frozen=True)
class Stamp:
    """An issue with its number and the hashes that it freezes; `changes` says what an amendment changed."""

    number: str
    date: str
    signer: str
    scope: str
    limits: str
    weather: str
    assessment_hash: str
    amends: str | None = None
    changes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Options:
    """How a report was asked for.

    `full` binds the record behind the two pages of each deck; `plan` asks for the plan alone; `show_names`
    prints the names of people other than the signer.
    """

    show_position: bool = False
    show_address: bool = False
    paper: str = "letter"
    per_deck: bool = False
    letter: bool = False
    pdf: bool = False
    full: bool = False
    plan: bool = False
    show_names: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the options as JSON."""
        return asdict(self)
