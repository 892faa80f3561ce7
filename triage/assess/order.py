"""The two orders of decks: `danger` (what to close or repair first) and `look` (where to go and see first).

Every concern weighs fall x extent and redundancy x severity, on scales that double so that their logarithms
add (`severity.toml`), times what the deck carries and how many there are. The worst at each joint of the
load path counts once, and the deck is the sum over its joints: the upper bound for a system that fails with
its weakest part (ISO 2394). What is known is one figure; what the unseen, the unanswered and the
unconfirmed could add makes the second one, 'up to'. The figures order decks and are never printed as a
chance.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.severity import Fall, Grade, Matrix
from triage.domain.plurals import count_of
from triage.domain.tiers import NOT_ENOUGH, tier_rank

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary, Seen
    from triage.assess.unsaid import Unsaid

DANGER, LOOK = "danger", "look"
ORDERS = (DANGER, LOOK)
_SERIOUS = "serious gaps"
_STEPS = (
    "stop-use",
    "repair-before-use",
    "repair-this-season",
    _SERIOUS,
    "watch",
    None,
    "nothing-seen",
)
CROWDED = ("crowd", "hot-tub", "roof")
_CROWDED_FACTOR, _MOST_COUNTED = 2, 3
_COULD_BE = "wrong"
"""How bad what nobody has seen is taken to be at worst (ranking of the unseen: common practice)."""


@dataclass(frozen=True)
class Joint:
    """A joint of the load path: how much is known against it, how much there could be, and its worst fault.

    `leading` is the rule that weighs most there (null where only the unseen does), `unknown` what could add.
    """

    joint: str
    words: str
    known: float
    up_to: float
    leading: str | None
    concluded: str
    unknown: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the joint as `assess --json` prints it."""
        return {
            "joint": self.joint,
            "words": self.words,
            "known": self.known,
            "up_to": self.up_to,
            "leading": self.leading,
            "concluded": self.concluded,
            "unknown": list(self.unknown),
        }


@dataclass(frozen=True)
class Ordering:
    """What a deck is ordered by: its steps by tier, its two figures, and what the suggestions weigh.

    `leads` moves it up in `look` among decks at which as much could be found, and never counts in `danger`.
    """

    deck: str
    step: int
    step_if_true: int
    known: float
    up_to: float
    expected: float
    leads: int = 0
    """Tags for which one of its photos stands in the list to look at first, answered by nobody."""

    def key(self, order: str = DANGER) -> tuple[Any, ...]:
        """Return the key that sorts decks in one of `ORDERS`, worst first."""
        if order == LOOK:
            return (
                -self.up_to,
                self.step_if_true,
                -self.leads,
                -round(self.expected, 9),
                self.step,
                -self.known,
                self.deck,
            )
        return (
            self.step,
            -self.known,
            self.step_if_true,
            -self.up_to,
            -round(self.expected, 9),
            self.deck,
        )


def rank(
    summaries: Iterable[DeckSummary], order: str = DANGER, leads: Mapping[str, int] | None = None
) -> list[DeckSummary]:
    """Return the decks worst first in one of `ORDERS`; equal ones by name.

    `leads` are the tags by deck for which a photo of it is to be looked at first.
    """
    return sorted(summaries, key=lambda one: order_key(one, order, (leads or {}).get(one.deck, 0)))


def order_key(summary: DeckSummary, order: str = DANGER, leads: int = 0) -> tuple[Any, ...]:
    """Return the key that sorts decks, worst first."""
    return ordering(summary, leads).key(order)


def ordering(summary: DeckSummary, leads: int = 0) -> Ordering:
    """Return what a deck is ordered by."""
    return Ordering(
        summary.deck,
        place_in_order(summary),
        _step(summary.tier_if_true, summary),
        summary.known,
        summary.up_to,
        summary.expected,
        leads,
    )


def place_in_order(summary: DeckSummary) -> int:
    """Return the deck's step in the order by what is known, 0 for the worst.

    A person's tier that is worse than the computed one counts; a milder one moves nothing down. Serious gaps
    with nothing worse than `watch` are between `repair-this-season` and `watch`.
    """
    return _step(summary.tier, summary)


def _step(tier: str | None, summary: DeckSummary) -> int:
    person = summary.tier_by_person
    if person is not None and tier_rank(person.tier) < tier_rank(tier):
        tier = person.tier
    step = _STEPS.index(tier)
    return min(step, _STEPS.index(_SERIOUS)) if summary.gaps == "serious" else step


def exposure(extra_load: str | None) -> int:
    """Return by how much more a fault weighs where a deck carries more than people and furniture."""
    return _CROWDED_FACTOR if extra_load in CROWDED else 1


def joints_of(
    concerns: Sequence[Concern],
    seen: Sequence[Seen],
    unsaid_elements: Collection[str],
    matrix: Matrix,
    fall: Fall,
    exposed: int,
) -> tuple[Joint, ...]:
    """Return the joints that anything is known of or could be found at, in the order of the load path.

    `unsaid_elements` are elements with open questions or with checks that could not be said.
    """
    known: dict[str, list[Concern]] = defaultdict(list)
    guessed: dict[str, list[Concern]] = defaultdict(list)
    for concern in concerns:
        if concern.is_open and concern.tier != "nothing-seen":
            side = guessed if concern.standing == "possible" else known
            side[matrix.joint(concern.element)].append(concern)
    unseen: dict[str, dict[str, float]] = defaultdict(dict)
    short = [one.element for one in seen if one.seen != "well"]
    for element in dict.fromkeys([*short, *sorted(unsaid_elements)]):
        grade = Grade(_COULD_BE, matrix.redundancy_of.get(element, "primary"))
        unseen[matrix.joint(element)][element] = matrix.weight(grade, fall) * exposed
    return tuple(
        _joint(name, words, known[name], guessed[name], unseen[name], exposed)
        for name, words in matrix.joint_words.items()
        if known[name] or guessed[name] or unseen[name]
    )


def _joint(
    name: str,
    words: str,
    known: Sequence[Concern],
    guessed: Sequence[Concern],
    unseen: Mapping[str, float],
    exposed: int,
) -> Joint:
    counts = _counts(known)
    weights = {id(one): _weight(one, counts, exposed) for one in known}
    leading = max(known, key=lambda one: (weights[id(one)], one.rule), default=None)
    sure = weights[id(leading)] if leading is not None else 0.0
    guess_counts = _counts(guessed)
    most = max((_weight(one, guess_counts, exposed) for one in guessed), default=0.0)
    could = [element for element, weight in unseen.items() if weight > sure]
    could += ["the machine's suggestions"] if most > sure else []
    return Joint(
        name,
        words,
        sure,
        max([sure, most, *unseen.values()]),
        leading.rule if leading else None,
        leading.concluded if leading else "",
        tuple(could),
    )


def _counts(concerns: Sequence[Concern]) -> Mapping[str, int]:
    counts: dict[str, int] = defaultdict(int)
    for concern in concerns:
        counts[concern.rule] += concern.count or 1
    return counts


def _weight(concern: Concern, counts: Mapping[str, int], exposed: int) -> float:
    """Return what a concern weighs: up to three parts that share the load count one by one."""
    number = 1 if concern.redundancy == "primary" else min(_MOST_COUNTED, counts[concern.rule])
    return concern.weight * exposed * number


def expected_of(concerns: Sequence[Concern], exposed: int) -> float:
    """Return what all concerns weigh, suggestions by their combined probabilities; linear in them.

    It orders decks whose figures are equal.
    """
    open_ones = (one for one in concerns if one.is_open and one.tier != "nothing-seen")
    return sum(
        one.weight * exposed * ((one.chance or 0.0) if one.standing == "possible" else 1.0)
        for one in open_ones
    )


def reason(summary: DeckSummary, unsaid: Unsaid) -> str:
    """Return one sentence that says why the deck is where it is in the order."""
    step = _STEPS[place_in_order(summary)]
    person = summary.tier_by_person
    if person is not None and tier_rank(person.tier) < tier_rank(summary.tier):
        return f"{person.by} put it at '{person.tier}': {person.why.rstrip('.')}."
    short = [one.element.replace("-", " ") for one in summary.coverage if one.seen != "well"]
    leading = _leading(summary)
    if step == _SERIOUS and (leading is None or leading.tier in ("watch", "nothing-seen")):
        known = "Nothing worse than 'watch' is known, but what holds the deck up was not seen well"
        return f"{known}: {_list(short)}."
    if leading is not None:
        same = sum(1 for one in summary.concerns if one.is_open and one.tier == leading.tier) - 1
        more = f" ({same} more of this tier)" if same else ""
        unsure = " This is the machine's suggestion; nobody has confirmed it."
        return f"{leading.concluded.rstrip('.')}{more}.{unsure if leading.standing == 'possible' else ''}"
    if summary.tier is None:
        return f"{NOT_ENOUGH.capitalize()}: {_barred(summary.unreviewed, short, unsaid)}."
    return _rests_on(summary, unsaid)


def _leading(summary: DeckSummary) -> Concern | None:
    """Return the open concern of the worst tier that weighs most, a suggestion's if it is the worse."""
    found = [one for one in summary.concerns if one.is_open and one.tier == summary.tier_if_true]
    return max(found, key=lambda one: (one.standing != "possible", one.weight), default=None)


def _barred(unreviewed: int, short: Sequence[str], unsaid: Unsaid) -> str:
    answers = count_of(unreviewed, "answer is missing", "answers are missing")
    parts = [answers] if unreviewed else []
    parts += [f"not seen well: {_list(short)}"] if short else []
    parts += [f"checks that could not be made: {_list(unsaid.checks)}"] if unsaid.checks else []
    parts += [f"not known: {_list(_some(unsaid.facts))}"] if unsaid.facts else []
    return "; ".join(parts) or "no photo was looked at"


def _some(names: Sequence[str], most: int = 6) -> list[str]:
    rest = len(names) - most
    return [*names[:most], f"{rest} more facts"] if rest > 1 else list(names)


def _rests_on(summary: DeckSummary, unsaid: Unsaid) -> str:
    photos = len({photo for one in summary.coverage for photo in one.photos})
    said = (
        f"In what was photographed ({photos} photo{'s' if photos != 1 else ''} of {len(summary.coverage)} "
        "parts, each seen well, every answer in) nothing was found, and every check of what holds the deck "
        "up is within its limits"
    )
    silent = f"; checks that could not be made: {_list(unsaid.other_checks)}" if unsaid.other_checks else ""
    return f"{said}{silent}."


def look_reason(summary: DeckSummary) -> str:
    """Return one sentence on what going there and seeing would settle."""
    open_joints = [one for one in summary.joints if one.up_to > one.known]
    if not open_joints:
        return "Nothing that is still unseen would move this deck up."
    worst = max(open_joints, key=lambda one: (one.up_to - one.known, one.up_to))
    parts = _list([name.replace("-", " ") for name in worst.unknown])
    return f"Most could still be found at {worst.words}: {parts}."


def _list(names: Sequence[str]) -> str:
    return ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else "".join(names)
