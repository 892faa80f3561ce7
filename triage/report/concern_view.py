"""One concern as it prints: its words, and the photos behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from triage.domain.tiers import TIERS
from triage.library.records import Closing
from triage.report.look import shape_key
from triage.report.phrases import (
    KIND_WORDS,
    SAID_WITHOUT_PHOTO,
    STANDING_WORDS,
    STATUS_WORDS,
    tag_words,
    tier_words,
)
from triage.report.pictures import Picture, Pictures
from triage.report.source import DeckRecord, Options
from triage.report.text import clean, clock, moment

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary

EVIDENCE_SHOWN = 3
"""So many photos are printed for one concern; the others are named."""


@dataclass(frozen=True)
class Evidence:
    """One photo behind a concern: the whole photo with the spot marked, and the spot's surroundings."""

    name: str
    taken: str
    whole: Picture | None
    crops: tuple[Picture, ...]
    position: str
    note: str


@dataclass(frozen=True)
class ConcernView:
    """One concern as it prints."""

    number: int
    shape: str
    title: str
    tier: str
    standing: str
    status: str
    kind: str
    rows: tuple[tuple[str, str], ...]
    evidence: tuple[Evidence, ...]
    others: str
    pictured: bool
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


def concern_view(
    number: int, one: Concern, record: DeckRecord, pictures: Pictures, options: Options
) -> ConcernView:
    """Return a concern as it prints; a repaired one shows the photos before and after its repair."""
    shown, others = one.photos[:EVIDENCE_SHOWN], one.photos[EVIDENCE_SHOWN:]
    rows = (
        ("Place", clean(one.place or "not stated")),
        ("Count here" if one.place else "Count", "" if one.count is None else str(one.count)),
        ("Why", clean(one.why)),
        ("Repair", clean(one.repair)),
        ("Verify on site", clean(one.verify_on_site)),
        ("Call", clean(one.call or "")),
        ("Remark", clean(one.remark)),
        ("Source", clean(one.source)),
    )
    evidence = tuple(photo_evidence(one, sha, record, pictures, options) for sha in shown)
    closing = _closing(one, record)
    if closing is not None:
        evidence = _pair(one, closing, record, pictures, options)
        others = ()
    return ConcernView(
        number=number,
        shape=shape_key(one.tier),
        title=clean(one.concluded or tag_words(one.tag) or tag_words(one.rule)),
        tier=tier_words(one.tier),
        standing=_standing(one),
        status=STATUS_WORDS.get(one.status or "", ""),
        kind=KIND_WORDS[one.kind],
        rows=tuple((name, text) for name, text in rows if text),
        evidence=evidence,
        pictured=len(evidence) > 1 or one.status == "repaired" or any(each.crops for each in evidence),
        others=", ".join(photo_names(others, record)),
        possible=one.standing == "possible",
        repaired=one.status == "repaired",
    )


def _standing(one: Concern) -> str:
    """Return the standing in words; what a person said without a photo is not called seen in one."""
    if one.standing == "seen-by-person" and not one.photos:
        return SAID_WITHOUT_PHOTO
    return STANDING_WORDS[one.standing]


def _closing(one: Concern, record: DeckRecord) -> Closing | None:
    """Return the closing that a repaired concern rests on: the last one of its rule and place."""
    if one.status != "repaired":
        return None
    place = clean(one.place or "").casefold()
    found = [each for each in record.closings if each.rule == one.rule]
    same = [each for each in found if clean(each.place or "").casefold() == place]
    best = same or found
    return best[-1] if best else None


def _pair(
    one: Concern, closing: Closing, record: DeckRecord, pictures: Pictures, options: Options
) -> tuple[Evidence, ...]:
    """Return the photos before and after a repair, to stand side by side."""
    before = photo_evidence(one, closing.before, record, pictures, options)
    after = photo_evidence(one, closing.after, record, pictures, options)
    said = f"after: {clean(closing.why)} ({clean(closing.by)}, {moment(closing.at)})"
    return (replace(before, note=f"before; {before.note}", crops=()), replace(after, note=said, crops=()))


def photo_evidence(
    one: Concern, sha: str, record: DeckRecord, pictures: Pictures, options: Options, *, thumb: bool = False
) -> Evidence:
    """Return one photo behind a concern, with the spots that were marked in it."""
    boxes = tuple(one.boxes.get(sha, ()))
    photo = next((photo for photo in record.photos if photo.sha == sha), None)
    whole = (pictures.thumb if thumb else pictures.whole)(sha, boxes)
    crops = [] if thumb else [pictures.crop(sha, box) for box in boxes[:2]]
    who = "by the machine" if one.standing == "possible" else "by a person"
    return Evidence(
        name=photo_names([sha], record)[0],
        taken=clock(photo.taken_at if photo else None),
        whole=whole,
        crops=tuple(crop for crop in crops if crop is not None),
        position=clean(record.positions.get(sha, "")) if options.show_position else "",
        note=f"spot marked {who}" if boxes else "no spot marked in this photo",
    )
