"""What of a deck was seen, how well, and what to go back for. 'Not seen' is never 'fine'.

Only persons' `shows-<element>` labels and the fact `concealed` make coverage; suggestions and defect labels
never do. Which elements a deck needs is data (`triage/data/coverage.toml`).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from types import MappingProxyType
from typing import Any

from triage.assess.conditions import Condition
from triage.assess.parsing import Known, parse
from triage.assess.places import STRETCHES, stretches
from triage.assess.records import DeckEvidence, Seen
from triage.assess.rules import known_facts
from triage.assess.view import QUALITY_FLAGS, DeckView, group_of
from triage.domain.packaged import packaged_toml
from triage.domain.vocabulary import ELEMENTS, SHOWS
from triage.library.records import Photo, Word

SHORT_LEDGER_FT = 6.0
"""Up to here one close-up can show a ledger from end to end (common practice)."""
LOOK_AGAIN_MONTHS = 12
"""An element seen well at an earlier visit stays 'well' this long (common practice: a yearly look)."""
HANGERS_A_PHOTO = 3
"""Taken for a photo of hangers that nobody counted (common practice: two to four joists a photo)."""
LEDGER_FT_A_LOOK = 8.0
CANNOT_TELL = "a person could not tell"
_FLAW_WORDS = {"far": "too far off, or too few pixels to show a nail head"}


@dataclass(frozen=True)
class Need:
    """An element to be seen: whether its failure drops the deck, when, how many looks, what to ask."""

    element: str
    serious: bool
    looks: str
    ask: str
    when: Condition | None = None


@dataclass(frozen=True)
class Look:
    """A photo that shows an element: how well, and what is the same look at the same thing (`key`)."""

    photo: Photo
    visit: int
    key: Hashable
    count: int
    counted: bool
    flaws: tuple[str, ...]

    @property
    def well(self) -> bool:
        """Whether the element can be judged by it."""
        return not self.flaws


@cache
def needs() -> tuple[Need, ...]:
    """Return all needs in walking order."""
    known = Known(frozenset(), known_facts(), frozenset(), frozenset(ELEMENTS))
    rows = packaged_toml("coverage.toml")["need"]
    return tuple(
        Need(**{**row, "when": parse(row["when"], known) if "when" in row else None}) for row in rows
    )


def needed(facts: Mapping[str, Any], shown: Collection[str] = ()) -> tuple[Need, ...]:
    """Return what a deck with these facts needs seen, in walking order; the unknown is taken as needed.

    `shown` are elements that photos show: no fact makes them go away.
    """
    view = DeckView({}, facts, {}, {})
    return tuple(
        need
        for need in needs()
        if need.when is None or need.element in shown or need.when.holds(view) is not None
    )


def coverage(
    visits: Sequence[DeckEvidence],
    unjudged: Collection[tuple[str, str]] = (),
    element_of: Mapping[str, str] = MappingProxyType({}),
) -> tuple[Seen, ...]:
    """Return how each needed element was seen at the last of these visits, in walking order.

    An element not looked at at the last visit keeps 'well' for a year and says when it was seen. `unjudged`
    names (photo, element) where a person could not tell: such a photo does not show that element well.
    `element_of` gives the element of each defect tag: what a defect was seen at is there, whatever a fact
    says.
    """
    facts = visits[-1].fact_values()
    needs = needed(facts, _shown(visits, element_of))
    return tuple(_seen(need, visits, facts, unjudged) for need in needs)


def _shown(visits: Sequence[DeckEvidence], element_of: Mapping[str, str]) -> set[str]:
    """Return the elements that persons labeled in photos, by themselves or by a defect at them."""
    found = set()
    for visit in visits:
        for (_, tag), word in visit.words.items():
            if word.value == "present":
                found.add(tag.removeprefix(SHOWS) if tag.startswith(SHOWS) else element_of.get(tag, ""))
    return found & SHOWN_COUNTS


SHOWN_COUNTS = frozenset(
    {"ledger", "flashing", "hanger", "beam", "post", "footing", "stair", "stringer", "guard"}
)
"""Elements that a fact can declare absent (guard posts and braces come with what they hold)."""


def _seen(
    need: Need,
    visits: Sequence[DeckEvidence],
    facts: Mapping[str, Any],
    unjudged: Collection[tuple[str, str]],
) -> Seen:
    concealed = facts.get("concealed") or ()
    looks = [
        replace(look, flaws=(*look.flaws, CANNOT_TELL))
        if (look.photo.sha, need.element) in unjudged
        else look
        for number, visit in enumerate(visits)
        for look in _looks(need.element, visit, number)
    ]
    photos = tuple(look.photo.sha for look in sorted(looks, key=lambda look: (not look.well, -look.visit)))
    good = [look for look in looks if look.well and _recent(visits, look.visit)]
    count, of, short = _enough(need, good, facts)
    hidden = need.element in concealed
    if good and not short and not hidden:
        return Seen(need.element, "well", photos, count, of, _well_words(visits, good, count, of))
    if hidden:
        why = str(facts.get("concealed_why") or "cannot be seen without opening something up")
        why += "; photos are labeled as showing it, and the worse counts" if good else ""
        return Seen(need.element, "concealed", photos, count, of, why)
    if not looks:
        return Seen(need.element, "not-seen", (), 0, of, "no photo shows it")
    return Seen(need.element, "poorly", photos, count, of, short if good else _poor_words(visits, looks))


def _looks(element: str, evidence: DeckEvidence, visit: int) -> list[Look]:
    looks = []
    for photo in evidence.photos:
        word = evidence.words.get((photo.sha, SHOWS + element))
        if word is None or word.value == "absent":
            continue
        flaws = () if word.settled else tuple(flag for flag in QUALITY_FLAGS if photo.quality.get(flag))
        flaws += ("shown poorly",) if word.value == "unclear" else ()
        flaws += ("people disagree whether it shows",) if word.disputed else ()
        place, count = _place_and_count(word)
        where = stretches(place) if element == "ledger" else frozenset()
        for key in where or {place or group_of(photo)}:
            looks.append(Look(photo, visit, key, count or 1, count is not None, flaws))
    return looks


def _place_and_count(word: Word) -> tuple[str | None, int | None]:
    present = [label for label in word.labels if label.value == "present"]
    counts = [label.count for label in present if label.count]
    return next((label.place for label in present if label.place), None), max(counts, default=None)


def _recent(visits: Sequence[DeckEvidence], visit: int) -> bool:
    """Return whether a look at an earlier visit still counts as a look now."""
    if visit == len(visits) - 1:
        return True
    months = _months(visits[visit].visit, visits[-1].visit)
    return months is not None and months <= LOOK_AGAIN_MONTHS


def _months(earlier: str | None, later: str | None) -> float | None:
    try:
        days = (date.fromisoformat((later or "")[:10]) - date.fromisoformat((earlier or "")[:10])).days
    except ValueError:
        return None
    return days / 30.4375


def _enough(need: Need, good: Sequence[Look], facts: Mapping[str, Any]) -> tuple[int | None, int | None, str]:
    """Return (count, of, what is short); the last is empty when there were looks enough."""
    if need.looks == "ends-and-middle":
        return _enough_of_a_ledger(good, facts)
    if need.looks == "per-joist":
        return _enough_hangers(good, joists(facts))
    if need.looks == "per-post" and facts.get("post_count"):
        seen, of = _added_up(good, 1), int(facts["post_count"])
        return min(seen, of), of, "" if seen >= of else f"{seen} of {of} posts"
    return len({look.photo.sha for look in good}), None, ""


def _enough_of_a_ledger(good: Sequence[Look], facts: Mapping[str, Any]) -> tuple[int | None, int | None, str]:
    length_ft = facts.get("ledger_length_ft") or facts.get("deck_width_ft")
    seen = {look.key for look in good}
    if length_ft is None:
        short = "one close-up, and the ledger's length is not known: take another stretch"
        return len(seen), 2, "" if len(seen) >= 2 else short
    of = 1 if length_ft <= SHORT_LEDGER_FT else max(3, math.ceil(length_ft / LEDGER_FT_A_LOOK))
    if len(seen) >= of:
        return of, of, ""
    missing = [name for name in STRETCHES if name not in seen] if seen & set(STRETCHES) else []
    where = f"; not yet: {', '.join(missing)}" if missing else ""
    return len(seen), of, f"{len(seen)} of {of} stretches of a {length_ft:g} ft ledger{where}"


def _enough_hangers(good: Sequence[Look], of: int | None) -> tuple[int | None, int | None, str]:
    counted = all(look.counted for look in good)
    if of is None:
        looks = len({look.key for look in good})
        short = "one photo, and how many joists there are is not known: take more of the row"
        return (_added_up(good, 1) if counted else None), None, "" if looks >= 2 else short
    seen = min(of, _added_up(good, HANGERS_A_PHOTO))
    about = "" if counted else f", taking {HANGERS_A_PHOTO} for a photo where nobody counted"
    return (seen if counted else None), of, "" if seen >= of else f"{seen} of {of} hangers{about}"


def joists(facts: Mapping[str, Any]) -> int | None:
    """Return how many joists the deck has, as said or from its width and their spacing, else null."""
    if facts.get("joist_count"):
        return int(facts["joist_count"])
    width_ft, spacing_in = facts.get("deck_width_ft"), facts.get("joist_spacing_in")
    return math.ceil(width_ft * 12 / spacing_in) + 1 if width_ft and spacing_in else None


def _added_up(good: Sequence[Look], uncounted: int) -> int:
    most: dict[Hashable, int] = {}
    for look in good:
        most[look.key] = max(most.get(look.key, 0), look.count if look.counted else uncounted)
    return sum(most.values())


def _well_words(
    visits: Sequence[DeckEvidence], good: Sequence[Look], count: int | None, of: int | None
) -> str:
    photos = len({look.photo.sha for look in good})
    words = f"{photos} photo{'s' if photos != 1 else ''}"
    words += f", {count} of {of}" if count is not None and of is not None else ""
    last = max(look.visit for look in good)
    return words if last == len(visits) - 1 else f"{words}, seen on {visits[last].visit}, not looked at since"


def _poor_words(visits: Sequence[DeckEvidence], looks: Sequence[Look]) -> str:
    flaws = sorted({_FLAW_WORDS.get(flaw, flaw) for look in looks for flaw in look.flaws})
    old = [look for look in looks if look.well]
    if old:
        return f"last seen well on {visits[max(look.visit for look in old)].visit or 'an undated visit'}"
    return f"the photos cannot be judged: {', '.join(flaws)}"


def gaps(seen: Sequence[Seen]) -> str:
    """Return 'none', 'some' or 'serious' for a deck's coverage.

    A concealed flashing is out of reach and no serious gap; any other element that drops the deck is one.
    """
    serious = {need.element for need in needs() if need.serious}
    short = [one for one in seen if one.seen != "well"]
    if any(one.element in serious and (one.element, one.seen) != ("flashing", "concealed") for one in short):
        return "serious"
    return "some" if short else "none"


def go_back_for(seen: Sequence[Seen]) -> tuple[str, ...]:
    """Return the photos to take, in walking order, each in words for the person on site."""
    asks = {need.element: need.ask for need in needs()}
    again = "Take the {} again, closer and in better light."
    found = []
    for one in seen:
        if one.seen in ("poorly", "not-seen"):
            so_far = f" (So far: {one.why}.)" if one.seen == "poorly" else ""
            found.append(asks.get(one.element, again.format(one.element)) + so_far)
    return tuple(found)


def open_up(seen: Sequence[Seen]) -> tuple[str, ...]:
    """Return what cannot be seen without opening: a decision for the owner, not a photo to go back for."""
    return tuple(
        f"Open up to see the {one.element.replace('-', ' ')}: {one.why}."
        for one in seen
        if one.seen == "concealed"
    )
