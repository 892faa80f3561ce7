"""What goes into an assessment and what comes out: plain frozen records, no database.

Photos are named by their SHA-256, tags by their name; places are words as the person gave them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from triage.assess.order import Joint
from triage.assess.unsaid import Unsaid
from triage.domain.tiers import CAUTION, shown_tier
from triage.library.records import Box, Closing, Fact, Finding, PersonTier, Photo, Suggestion, Word
from triage.structure.check import known_values

if TYPE_CHECKING:
    from triage.structure import Check

Key = tuple[str, str]
"""(photo, tag)."""
_OF_FINDING = "finding-"


def rule_of_finding(finding: Finding) -> str:
    """Return the name that stands for a rule in the concern that a finding is."""
    return f"{_OF_FINDING}{finding.id[:12]}"


def is_of_finding(rule: str) -> bool:
    """Return whether the rule of a concern is a person's finding and none of the rule book."""
    return rule.startswith(_OF_FINDING)


@dataclass(frozen=True)
class DeckEvidence:
    """All that is known of one deck at one visit; `earlier` holds the visits before it, oldest first.

    `words` and `suggestions` are by (photo, tag); `facts` are the latest per key at this visit or earlier;
    `promise` says per tag whether the pile `unlikely` may be relied on ('holds', 'too-few', 'withdrawn');
    `second_person` names the acts for which the firm asks a second person.
    """

    deck: str
    visit: str | None = None
    photos: tuple[Photo, ...] = ()
    words: Mapping[Key, Word] = field(default_factory=dict)
    suggestions: Mapping[Key, Suggestion] = field(default_factory=dict)
    facts: Mapping[str, Fact] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    person_tier: PersonTier | None = None
    closings: tuple[Closing, ...] = ()
    promise: Mapping[str, str] = field(default_factory=dict)
    second_person: frozenset[str] = frozenset()
    earlier: tuple[DeckEvidence, ...] = ()

    def fact_values(self) -> dict[str, Any]:
        """Return the plain values of the facts that are known, by key."""
        return known_values({key: fact.value for key, fact in self.facts.items()})

    def visits(self) -> tuple[DeckEvidence, ...]:
        """Return the earlier visits and this one, oldest first."""
        return (*self.earlier, self)


@dataclass(frozen=True)
class Concern:
    """What a rule, a check or a finding concluded about one place of a deck.

    `photos` come best evidence first; `boxes` are fractions of the upright photo; `facts` are the
    keys of facts that made the rule hold. `chance` is the combined
    probability of a concern that rests on suggestions (internal to the order of work), else null;
    `chance_ends` is that probability at rho 0 and at rho 1. `severity` is how bad it is at
    whatever height, `weight` what it counts in the order of decks (see `order`).
    """

    rule: str
    tag: str | None
    kind: str
    standing: str
    status: str
    tier: str
    photos: tuple[str, ...]
    place: str | None
    count: int | None
    concluded: str
    why: str
    repair: str
    verify_on_site: str
    call: str
    source: str
    boxes: Mapping[str, tuple[Box, ...]] = field(default_factory=dict)
    element: str | None = None
    remark: str = ""
    raises: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()
    chance: float | None = None
    severity: str = "early"
    weight: float = 0.0
    unconfirmed: tuple[str, ...] = ()
    redundancy: str = "primary"
    chance_ends: tuple[float, float] | None = None

    def at_rho(self, rho: float) -> Concern:
        """Return the concern with the combined probability at a rho: it is linear between its ends."""
        if self.chance_ends is None:
            return self
        apart, together = self.chance_ends
        return replace(self, chance=apart + rho * (together - apart))

    @property
    def is_open(self) -> bool:
        """Whether it still counts: everything but what a person closed."""
        return self.status != "repaired"

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `assess --json` promises, and a few more."""
        return {
            "rule": self.rule,
            "tag": self.tag,
            "kind": self.kind,
            "standing": self.standing,
            "status": self.status,
            "tier": self.tier,
            "photos": list(self.photos),
            "place": self.place,
            "count": self.count,
            "concluded": self.concluded,
            "why": self.why,
            "repair": self.repair,
            "verify_on_site": self.verify_on_site,
            "call": self.call,
            "source": self.source,
            "element": self.element,
            "remark": self.remark,
            "severity": self.severity,
            "unconfirmed": list(self.unconfirmed),
            "boxes": {photo: [list(box) for box in boxes] for photo, boxes in self.boxes.items()},
        }


@dataclass(frozen=True)
class Seen:
    """How far an element was seen: `count` of `of` where counting is possible, `why` in words."""

    element: str
    seen: str
    photos: tuple[str, ...]
    count: int | None
    of: int | None
    why: str

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `assess --json` promises."""
        return {
            "element": self.element,
            "seen": self.seen,
            "photos": list(self.photos),
            "count": self.count,
            "of": self.of,
            "why": self.why,
        }


@dataclass(frozen=True)
class DeckSummary:
    """The risk summary of one deck.

    `tier` rests on persons, facts and checks; `tier_if_true` takes suggestions for true as well; null is
    'not enough seen or reviewed to say'. `joints` hold what the deck is ordered by (see `order`);
    `expected` is what the suggestions weigh, `expected_ends` that at rho 0 and at rho 1. `unsaid` is what
    could still turn out bad; `held` the ids of all rules that held, those that another one speaks for among
    them.
    """

    deck: str
    visit: str | None
    tier: str | None
    tier_if_true: str | None
    tier_by_person: PersonTier | None
    gaps: str
    concerns: tuple[Concern, ...]
    coverage: tuple[Seen, ...]
    go_back_for: tuple[str, ...]
    unreviewed: int
    checks: tuple[Check, ...] = ()
    joints: tuple[Joint, ...] = ()
    height_class: str = "unknown"
    unsaid: Unsaid = Unsaid()
    held: frozenset[str] = frozenset()
    reason: str = ""
    open_up: tuple[str, ...] = ()
    caution: str = CAUTION
    look_reason: str = ""
    expected: float = 0.0
    expected_ends: tuple[float, float] = (0.0, 0.0)

    @property
    def shown_tier(self) -> str | None:
        """The tier that every list shows: a person's own where it is worse than the computed one."""
        return shown_tier(self.tier, self.tier_by_person.tier if self.tier_by_person else None)

    @property
    def known(self) -> float:
        """What is known, added up over the joints; orders decks and is never printed as a chance."""
        return sum(joint.known for joint in self.joints)

    @property
    def up_to(self) -> float:
        """What it could come to with all that is unseen, unanswered and unconfirmed."""
        return sum(joint.up_to for joint in self.joints)

    @property
    def repaired(self) -> tuple[Concern, ...]:
        """Concerns that a person closed."""
        return tuple(concern for concern in self.concerns if not concern.is_open)

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `assess --json` promises, and a few more."""
        person = self.tier_by_person
        return {
            "deck": self.deck,
            "visit": self.visit,
            "tier": self.tier,
            "tier_shown": self.shown_tier,
            "tier_if_true": self.tier_if_true,
            "tier_by_person": person.tier if person else None,
            "tier_by_person_why": person.why if person else None,
            "tier_by_person_by": person.by if person else None,
            "gaps": self.gaps,
            "concerns": [concern.to_json() for concern in self.concerns],
            "coverage": [seen.to_json() for seen in self.coverage],
            "go_back_for": list(self.go_back_for),
            "open_up": list(self.open_up),
            "unreviewed": self.unreviewed,
            "checks": [check.to_json() for check in self.checks],
            "known": self.known,
            "up_to": self.up_to,
            "height_class": self.height_class,
            "joints": [joint.to_json() for joint in self.joints],
            "unsaid_checks": [*self.unsaid.checks, *self.unsaid.other_checks],
            "unknown_facts": list(self.unsaid.facts),
            "reason": self.reason,
            "look_reason": self.look_reason,
            "caution": self.caution,
        }
