"""One concern as it prints: its words, and the photos behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.domain.tiers import TIERS
from triage.library.records import Closing
from triage.report.fact_words import without_keys
from triage.report.look import shape_key
from triage.report.phrases import (
    KIND_WORDS,
    SAID_WITHOUT_PHOTO,
    STANDING_WORDS,
    STATUS_WORDS,
    tag_words,
    tier_words,
)
from triage.report.plates import Plates
from triage.report.source import DeckRecord
from triage.report.text import and_list, clean, count_of, ended, minute_words

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary

EVIDENCE_SHOWN = 3
"""So many photos of one concern are printed in the record; the others are named."""


@dataclass(frozen=True)
class Case:
    """One concern of a group: its number, where, what it rests on, what was marked, and its photos."""

    number: int
    place: str
    basis: str
    marked: str
    photos: str


@dataclass(frozen=True)
class ConcernView:
    """Concerns that say the same of several places, as they print; photos are numbers of the plates."""

    numbers: str
    shape: str
    title: str
    tier: str
    kind: str
    rows: tuple[tuple[str, str], ...]
    cases: tuple[Case, ...]
    possible: bool
    repaired: bool


def concern_numbers(summary: DeckSummary) -> dict[int, Concern]:
    """Return the concerns in the order and with the numbers under which every file prints them.

    Open ones of persons, facts and checks first, then possible ones, then repaired ones; worst tier first.
    """

    def place(one: Concern) -> tuple[int, int, str, str]:
        group = 2 if one.status == "repaired" else 1 if one.standing == "possible" else 0
        return (group, TIERS.index(one.tier), one.rule, one.place or "")

    return dict(enumerate(sorted(summary.concerns, key=place), start=1))


def photo_names(shas: Sequence[str], record: DeckRecord) -> list[str]:
    """Return the names of photos, the start of the hash where a photo is not of this deck."""
    names = {photo.sha: photo.name for photo in record.photos}
    return [clean(names.get(sha, sha[:12])) for sha in shas]


def concern_views(
    numbered: Mapping[int, Concern], record: DeckRecord, plates: Plates
) -> tuple[ConcernView, ...]:
    """Return the concerns as they print, those that say the same together; their photos become plates."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for number, one in numbered.items():
        groups.setdefault(_same(one), []).append(number)
    return tuple(
        _view([(number, numbered[number]) for number in numbers], record, plates)
        for numbers in groups.values()
    )


def _same(one: Concern) -> tuple[object, ...]:
    """Return what two concerns share that print as one."""
    said = (one.concluded, one.why, one.repair, one.verify_on_site, one.call, one.remark, one.source)
    return (one.rule, one.tier, one.kind, one.standing == "possible", one.status == "repaired", *said)


def _view(group: Sequence[tuple[int, Concern]], record: DeckRecord, plates: Plates) -> ConcernView:
    one = group[0][1]
    rows = (
        ("Why", clean(one.why)),
        ("Repair", clean(one.repair)),
        ("Verify on site", clean(one.verify_on_site)),
        ("Call", clean(one.call or "")),
        ("Remark", clean(one.remark)),
        ("Source", clean(one.source)),
    )
    return ConcernView(
        numbers=and_list(str(number) for number, _ in group),
        shape=shape_key(one.tier),
        title=without_keys(clean(one.concluded or tag_words(one.tag) or tag_words(one.rule))),
        tier=tier_words(one.tier),
        kind="" if one.kind == "hazard" else KIND_WORDS[one.kind],
        rows=tuple((name, without_keys(text)) for name, text in rows if text),
        cases=tuple(_case(number, each, record, plates) for number, each in group),
        possible=one.standing == "possible",
        repaired=one.status == "repaired",
    )


def _case(number: int, one: Concern, record: DeckRecord, plates: Plates) -> Case:
    status = STATUS_WORDS.get(one.status or "", "")
    return Case(
        number=number,
        place=clean(one.place or "place not stated"),
        basis="; ".join(words for words in (_standing(one), status) if words),
        marked=marked_words(one.count),
        photos=_photos(number, one, record, plates),
    )


def marked_words(count: int | None) -> str:
    """Return a count and what was counted: marks in photos, which is not the number of parts."""
    return "" if count is None else f"{count_of(count, 'spot')} marked"


def _photos(number: int, one: Concern, record: DeckRecord, plates: Plates) -> str:
    """Return which plates show a concern, and the names of photos that are not printed."""
    closing = closing_of(one, record)
    if closing is not None:
        before, after = plates.add(closing.before, number, ()), plates.add(closing.after, number, ())
        return (
            f"Before: photo {before}. After: photo {after}. {ended(clean(closing.why))} "
            f"({clean(closing.by)}, {minute_words(closing.at)})"
        )
    if not one.photos:
        return "There is no photo of this."
    shown = [plates.add(sha, number, tuple(one.boxes.get(sha, ()))) for sha in one.photos[:EVIDENCE_SHOWN]]
    words = "Photo" if len(shown) == 1 else "Photos"
    words = f"{words} {and_list(str(each) for each in sorted(shown))}"
    others = photo_names(one.photos[EVIDENCE_SHOWN:], record)
    by_machine = one.standing == "possible" and any(one.boxes.get(sha) for sha in one.photos)
    machine = " The machine marked the spots." if by_machine else ""
    return f"{words}.{machine}" if not others else f"{words}; not printed: {', '.join(others)}.{machine}"


def _standing(one: Concern) -> str:
    """Return the standing in words; what a person said without a photo is not called seen in one."""
    if one.standing == "seen-by-person" and not one.photos:
        return SAID_WITHOUT_PHOTO
    return STANDING_WORDS[one.standing]


def closing_of(one: Concern, record: DeckRecord) -> Closing | None:
    """Return the closing that a repaired concern rests on: the last one of its rule and place."""
    if one.status != "repaired":
        return None
    place = clean(one.place or "").casefold()
    found = [each for each in record.closings if each.rule == one.rule]
    same = [each for each in found if clean(each.place or "").casefold() == place]
    best = same or found
    return best[-1] if best else None
