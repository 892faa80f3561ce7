"""Who said what and when about a deck, in rows short enough for paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from triage.domain.vocabulary import SHOWS
from triage.library.records import Label
from triage.report.phrases import tag_words, tier_short
from triage.report.source import DeckRecord, RepairDone
from triage.report.text import clean, count_of, minute, minute_words

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


def brief_sayings(record: DeckRecord) -> tuple[Saying, ...]:
    """Return what persons said in few rows: damage that was seen or unclear by photo, the rest counted.

    Every single answer stands in `said.csv` beside the report.
    """
    names = {photo.sha: photo.name for photo in record.photos}
    told = [one for one in record.labels if one.value != "absent" and not one.tag.startswith(SHOWS)]
    rest = [one for one in record.labels if one.value == "absent" or one.tag.startswith(SHOWS)]
    rows = [*_labels(told, names), *_counted(rest), *_facts(record), *_findings(record, names)]
    rows += _acts(record, names)
    return tuple(sorted(rows, key=lambda row: (row.at, row.by, row.what, row.on)))


def _labels(labels: Iterable[Label], names: dict[str, str]) -> list[Saying]:
    groups: dict[tuple[str, str, str, bool], list[Label]] = {}
    for label in labels:
        groups.setdefault((label.by, label.tag, label.value, label.saw_machine), []).append(label)
    rows = []
    for (by, tag, value, saw_machine), group in groups.items():
        seen = " (after seeing the machine's suggestion)" if saw_machine else ""
        what = f"{said_words(tag, value)}{seen}"
        rows.append(
            Saying(_span(group), clean(by), clean(what), _on([label.photo for label in group], names))
        )
    return rows


def said_words(tag: str, value: str) -> str:
    """Return an answer in words: 'missing hanger: present', 'the photo shows the stair: no'."""
    if not tag.startswith(SHOWS):
        return f"{tag_words(tag)}: {value}"
    shown = {"present": "yes", "absent": "no", "unclear": "not well enough to judge"}.get(value, value)
    return f"shows the {tag_words(tag.removeprefix(SHOWS))}: {shown}"


def _counted(labels: Iterable[Label]) -> list[Saying]:
    """Return how many answers said that something is not there, and how many were about parts, by person."""
    groups: dict[tuple[str, bool], list[Label]] = {}
    for label in labels:
        groups.setdefault((label.by, label.tag.startswith(SHOWS)), []).append(label)
    rows = []
    for (by, parts), group in groups.items():
        photos = count_of(len({one.photo for one in group}), "photo")
        about = (
            "about which parts a photo shows (see the table of parts)"
            if parts
            else "that a kind of damage is not in the photo"
        )
        what = f"{count_of(len(group), 'answer')} {about}"
        rows.append(Saying(_span(group), clean(by), what, f"{photos}; each answer is in said.csv"))
    return rows


def _span(group: Iterable[Label]) -> str:
    """Return when a group of answers was given: '2026-05-03 10:22 to 10:41 UTC'."""
    times = sorted(minute(label.at) for label in group)
    first, last = times[0], times[-1]
    if first == last:
        return first
    day, _, rest = first.partition(" ")
    same_zone = first.rpartition(" ")[2] == last.rpartition(" ")[2]
    if same_zone:
        first = first.rpartition(" ")[0]
    return f"{first} to {last.removeprefix(day + ' ')}"


def _facts(record: DeckRecord) -> list[Saying]:
    groups: dict[tuple[str, str], int] = {}
    for fact in record.facts.values():
        key = (minute(fact.at), clean(fact.by))
        groups[key] = groups.get(key, 0) + 1
    return [
        Saying(at, by, f"{count_of(number, 'fact')}, measured or known", "listed under Facts")
        for (at, by), number in groups.items()
    ]


def _findings(record: DeckRecord, names: dict[str, str]) -> list[Saying]:
    return [
        Saying(
            minute(one.at),
            clean(one.by),
            clean(f"finding ({one.how}; {tier_short(one.tier)}): {one.text}"),
            clean("; ".join(part for part in (one.place or "", _on(one.photos, names)) if part)),
        )
        for one in record.findings
    ]


def _acts(record: DeckRecord, names: dict[str, str]) -> list[Saying]:
    rows = []
    if record.person_tier is not None:
        said = record.person_tier
        rows.append(
            Saying(
                minute(said.at),
                clean(said.by),
                clean(f"set the tier to '{tier_short(said.tier)}': {said.why}"),
                "",
            )
        )
    for closing in record.closings:
        what = clean(f"closed '{tag_words(closing.rule)}': {closing.why}")
        on = f"before {_on([closing.before], names)}, after {_on([closing.after], names)}"
        place = f"{clean(closing.place)}; " if closing.place else ""
        rows.append(Saying(minute(closing.at), clean(closing.by), what, place + on))
    for warning in record.warnings:
        what = clean(f"told {warning.told}, {warning.how}, {minute_words(warning.told_at)}")
        rows.append(Saying(minute(warning.at), clean(warning.by), what, ""))
    for lift in record.lifts:
        what = clean(f"lifted the stop-use: {lift.why}")
        rows.append(Saying(minute(lift.at), clean(lift.by), what, _on([lift.after], names)))
    rows += [_repair(one, names) for one in record.repairs]
    return rows


def _repair(one: RepairDone, names: dict[str, str]) -> Saying:
    """Return a row of a crew's sheet as one saying."""
    how_much = f" in {count_of(one.count, 'place')}" if one.count is not None else ""
    day = f" on {one.day}" if one.day else ""
    who = f" by {one.done_by}" if one.done_by else ""
    note = f": {one.note}" if one.note else ""
    done = "repaired" if one.done else "not repaired"
    what = f"crew's sheet: '{tag_words(one.rule)}' {done}{how_much}{day}{who}{note}"
    on = "; ".join(part for part in (one.place or "", _on([one.photo], names) if one.photo else "") if part)
    return Saying(minute(one.at), clean(one.by), clean(what), clean(on))


def _on(shas: Iterable[str], names: dict[str, str]) -> str:
    listed = sorted({clean(names.get(sha, sha[:12])) for sha in shas})
    if len(listed) <= NAMED:
        return ", ".join(listed)
    return f"{', '.join(listed[:NAMED])} and {count_of(len(listed) - NAMED, 'more photo')}"
