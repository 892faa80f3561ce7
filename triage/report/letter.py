"""The owner's letter: what to do and by when, the caution, and no promise. Nothing in it is cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.domain.tiers import CAUTION
from triage.report.advice import advice, due_date
from triage.report.owner import finding_groups, finding_places, may_be_allowed, not_seen, reach_rows, title_of
from triage.report.source import DeckRecord, Options, Source, Stamp
from triage.report.text import clean, count_of, day_words

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary
    from triage.report.owner import Group

LINES = 5
"""So many findings are told; the rest are counted."""


@dataclass(frozen=True)
class Letter:
    """What stands in the letter."""

    deck: str
    address: str
    client: str
    date: str
    looked: str
    advice: str
    seen: tuple[str, ...]
    more: str
    not_seen: tuple[str, ...]
    reach: tuple[tuple[str, str], ...]
    caution: str
    signer: str


def owner_letter(summary: DeckSummary, source: Source, options: Options, stamp: Stamp | None) -> Letter:
    """Return the letter about one deck; the caller refuses it while the report is a DRAFT."""
    groups = finding_groups(summary)
    record = source.record(summary.deck)
    private = record.private if options.show_address else {}
    left = len(groups) - LINES
    return Letter(
        deck=clean(summary.deck),
        address=clean(private.get("address", "")),
        client=clean(private.get("client", "")),
        date=day_words(stamp.date) if stamp else "",
        looked=_looked(summary, record),
        advice=advice(summary, due_date(summary, record, source.firm), source.element_of),
        seen=tuple(_line(one) for one in groups[:LINES]),
        more=f"{count_of(left, 'more finding')}, told in the report." if left > 0 else "",
        not_seen=not_seen(summary, len(record.photos), source.element_of),
        reach=reach_rows(groups, source.firm),
        caution=CAUTION,
        signer=clean(stamp.signer) if stamp else "",
    )


def _looked(summary: DeckSummary, record: DeckRecord) -> str:
    """Say how many photos there are and how many a person looked at: those that carry an answer."""
    photos = {photo.sha for photo in record.photos}
    looked = len(photos & {label.photo for label in record.labels})
    when = f" from the visit of {day_words(clean(summary.visit))}" if summary.visit else ""
    if looked == len(photos):
        return f"A person looked at {count_of(looked, 'photo')} of your deck{when}."
    return f"A person looked at {looked} of {count_of(len(photos), 'photo')} of your deck{when}."


def _line(group: Group) -> str:
    concerns = [one for _, one in group]
    parts = (title_of(concerns[0]), finding_places(concerns), may_be_allowed(concerns))
    return " ".join(part for part in parts if part)
