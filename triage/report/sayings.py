"""Who said what and when about a deck, in rows short enough for paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from triage.library.records import Label
from triage.report.source import DeckRecord, RepairDone
from triage.report.text import clean, count_of, moment

NAMED = 4
"""So many photos are named in one row; the rest are counted."""


@dataclass(frozen=True)
class Saying:
    """One row: when, who, what was said, and on what."""

    at: str
    by: str
    what: str
    on: str


def sayings(record: DeckRecord) -> tuple[Saying, ...]:
    """Return everything that persons said about a deck, oldest first.

    Labels of one person, tag and value are one row with the span of time; everything else is a row each.
    """
    names = {photo.sha: photo.name for photo in record.photos}
    rows = [*_labels(record.labels, names), *_facts(record), *_findings(record, names), *_acts(record, names)]
    return tuple(sorted(rows, key=lambda row: (row.at, row.by, row.what, row.on)))


def _labels(labels: Iterable[Label], names: dict[str, str]) -> list[Saying]:
    groups: dict[tuple[str, str, str, bool], list[Label]] = {}
    for label in labels:
        groups.setdefault((label.by, label.tag, label.value, label.saw_machine), []).append(label)
    rows = []
    for (by, tag, value, saw_machine), group in groups.items():
        times = sorted(moment(label.at) for label in group)
        span = times[0] if times[0] == times[-1] else f"{times[0]} to {times[-1]}"
        seen = " (after seeing the machine's word)" if saw_machine else ""
        what = f"{tag}: {value}{seen}"
        rows.append(Saying(span, clean(by), clean(what), _on([label.photo for label in group], names)))
    return rows


def _facts(record: DeckRecord) -> list[Saying]:
    groups: dict[tuple[str, str], list[str]] = {}
    for key, fact in sorted(record.facts.items()):
        groups.setdefault((moment(fact.at), clean(fact.by)), []).append(key)
    return [Saying(at, by, clean("facts: " + ", ".join(keys)), "") for (at, by), keys in groups.items()]


def _findings(record: DeckRecord, names: dict[str, str]) -> list[Saying]:
    return [
        Saying(
            moment(one.at),
            clean(one.by),
            clean(f"finding ({one.how}, {one.tier}): {one.text}"),
            clean("; ".join(part for part in (one.place or "", _on(one.photos, names)) if part)),
        )
        for one in record.findings
    ]


def _acts(record: DeckRecord, names: dict[str, str]) -> list[Saying]:
    rows = []
    if record.person_tier is not None:
        said = record.person_tier
        rows.append(Saying(moment(said.at), clean(said.by), clean(f"tier: {said.tier}. {said.why}"), ""))
    for closing in record.closings:
        what = clean(f"closed {closing.rule}: {closing.why}")
        on = f"before {_on([closing.before], names)}, after {_on([closing.after], names)}"
        place = f"{clean(closing.place)}; " if closing.place else ""
        rows.append(Saying(moment(closing.at), clean(closing.by), what, place + on))
    for warning in record.warnings:
        what = clean(f"warned: told {warning.told}, {warning.how}, at {warning.told_at}")
        rows.append(Saying(moment(warning.at), clean(warning.by), what, ""))
    for lift in record.lifts:
        what = clean(f"lifted the stop-use: {lift.why}")
        rows.append(Saying(moment(lift.at), clean(lift.by), what, _on([lift.after], names)))
    rows += [_repair(one, names) for one in record.repairs]
    return rows


def _repair(one: RepairDone, names: dict[str, str]) -> Saying:
    """Return a row of a crew's sheet as one saying."""
    how_much = f" in {count_of(one.count, 'place')}" if one.count is not None else ""
    day = f" on {one.day}" if one.day else ""
    who = f" by {one.done_by}" if one.done_by else ""
    note = f": {one.note}" if one.note else ""
    what = f"crew's sheet: {one.rule} {'repaired' if one.done else 'not repaired'}{how_much}{day}{who}{note}"
    on = "; ".join(part for part in (one.place or "", _on([one.photo], names) if one.photo else "") if part)
    return Saying(moment(one.at), clean(one.by), clean(what), clean(on))


def _on(shas: Iterable[str], names: dict[str, str]) -> str:
    listed = sorted({clean(names.get(sha, sha[:12])) for sha in shas})
    if len(listed) <= NAMED:
        return ", ".join(listed)
    return f"{', '.join(listed[:NAMED])} and {count_of(len(listed) - NAMED, 'more photo')}"
