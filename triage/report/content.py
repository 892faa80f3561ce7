"""What stands in the report, deck by deck, as plain records: the templates only lay them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING

from triage.domain.tiers import TIERS, tier_rank
from triage.report.concern_view import ConcernView, concern_numbers, concern_views, photo_names
from triage.report.fact_words import fact_rows, length_words, without_keys
from triage.report.grown_view import SeverityChangeView, grown_views
from triage.report.lifting import faults_of_lifts, lift_words
from triage.report.look import shape_key
from triage.report.phrases import (
    KIND_WORDS,
    SEEN_WORDS,
    STATUS_WORDS,
    VERDICT_WORDS,
    gap_sentence,
    tag_words,
    tier_short,
    tier_words,
)
from triage.report.pictures import Pictures
from triage.report.plates import Plate, Plates
from triage.report.repairs_list import Task, crew_tasks
from triage.report.sayings import Saying, brief_sayings
from triage.report.seen import parts_by_state, seen_states
from triage.report.source import DeckRecord, Options, Source
from triage.report.text import and_list, clean, minute_words

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary, Seen
    from triage.structure import Check


@dataclass(frozen=True)
class DeckView:
    """One deck as it prints."""

    deck: str
    anchor: str
    visit: str
    private: tuple[tuple[str, str], ...]
    shape: str
    tier: str
    tier_short: str
    if_true: str
    by_person: tuple[str, str] | None
    reason: str
    gaps: str
    photos: int
    unreviewed: int
    plates: tuple[Plate, ...]
    concerns: tuple[ConcernView, ...]
    possible: tuple[ConcernView, ...]
    closed: tuple[ConcernView, ...]
    coverage: tuple[tuple[str, str, str, str], ...]
    go_back_for: tuple[str, ...]
    open_up: tuple[str, ...]
    checks: tuple[tuple[str, ...], ...]
    facts: tuple[tuple[str, str], ...]
    tasks: tuple[Task, ...]
    warned: tuple[str, ...]
    sayings: tuple[Saying, ...]
    draft: bool
    compared: tuple[str, tuple[tuple[str, str, str], ...]]
    grown: tuple[SeverityChangeView, ...]


def serious_unreviewed(summary: DeckSummary) -> tuple[Concern, ...]:
    """Return the machine's serious suggestions that no person has answered yet.

    Serious is a possible concern that is worse than `watch`, or worse than the tier that paper prints.
    """
    return tuple(
        one
        for one in summary.concerns
        if one.standing == "possible"
        and one.status != "repaired"
        and (TIERS.index(one.tier) < TIERS.index("watch") or tier_rank(one.tier) < tier_rank(summary.tier))
    )


def is_draft(summaries: Sequence[DeckSummary]) -> bool:
    """Say whether any deck has a question that no person has answered."""
    return any(deck_is_draft(summary) for summary in summaries)


def deck_is_draft(summary: DeckSummary) -> bool:
    """Say whether a question on a deck is open, or a serious suggestion of the machine is unanswered."""
    return bool(summary.unreviewed or serious_unreviewed(summary))


def deck_view(
    summary: DeckSummary,
    source: Source,
    pictures: Pictures,
    options: Options,
    shown_before: Mapping[str, str] | None = None,
) -> DeckView:
    """Return the record of one deck; photos in `shown_before` (hash: where) are pointed to, not printed."""
    record = source.record(summary.deck)
    numbered = concern_numbers(summary)
    states = seen_states(summary, source.element_of)
    plates = Plates()
    views = concern_views(numbered, record, plates)
    shown = tuple(view for view in views if not view.possible and not view.repaired)
    return DeckView(
        deck=clean(summary.deck),
        anchor=anchor(summary.deck),
        visit=clean(summary.visit or "no single date"),
        private=_private(record, options),
        shape=shape_key(summary.shown_tier),
        tier=tier_words(summary.shown_tier),
        tier_short=tier_short(summary.shown_tier),
        if_true=_if_true(summary),
        by_person=_by_person(summary),
        reason=without_keys(clean(summary.reason)),
        gaps=gap_sentence(summary.gaps, parts_by_state(summary, source.element_of)),
        photos=len(record.photos),
        unreviewed=summary.unreviewed,
        plates=plates.made(record, pictures, options, shown_before or {}),
        concerns=shown,
        possible=tuple(view for view in views if view.possible and not view.repaired),
        closed=tuple(view for view in views if view.repaired),
        coverage=tuple(_coverage_row(seen, states[seen.element], record) for seen in summary.coverage),
        go_back_for=tuple(without_keys(clean(one)) for one in summary.go_back_for),
        open_up=tuple(clean(one) for one in summary.open_up),
        checks=tuple(_check_row(check) for check in summary.checks),
        facts=fact_rows(record.facts),
        tasks=crew_tasks(numbered, source.element_of),
        warned=_warned(summary, record),
        sayings=brief_sayings(record),
        draft=deck_is_draft(summary),
        compared=_compared(summary, record),
        grown=grown_views(record, pictures),
    )


def anchor(deck: str) -> str:
    """Return an id for a deck that is safe in an address, whatever its name."""
    return "deck-" + sha256(deck.encode("utf-8", "surrogatepass")).hexdigest()[:12]


def _private(record: DeckRecord, options: Options) -> tuple[tuple[str, str], ...]:
    if not options.show_address:
        return ()
    return tuple(
        (key, clean(record.private[key])) for key in ("address", "client") if record.private.get(key)
    )


def _if_true(summary: DeckSummary) -> str:
    if tier_rank(summary.tier_if_true) >= tier_rank(summary.tier):
        return ""
    return f"If the machine's suggestions prove right: {tier_words(summary.tier_if_true)}."


def _by_person(summary: DeckSummary) -> tuple[str, str] | None:
    """Return the shape and the name of the tier that a person set; the computed tier is printed too."""
    said = summary.tier_by_person
    if said is None:
        return None
    words = f"{tier_words(said.tier)} (set by {clean(said.by)}: {clean(said.why)})"
    if summary.shown_tier != summary.tier:
        words += f"; computed: {tier_words(summary.tier)}"
    return shape_key(said.tier), words


def _compared(summary: DeckSummary, record: DeckRecord) -> tuple[str, tuple[tuple[str, str, str], ...]]:
    """Return the visits that are compared, and each concern with its place and what became of it."""
    visits = sorted({photo.visit for photo in record.photos if photo.visit})
    if len(visits) < 2:
        return "", ()
    words = f"Visit {clean(visits[-1])} compared with {and_list(clean(one) for one in visits[:-1])}"
    rows = [
        (
            clean(one.concluded),
            clean(one.place or "not stated"),
            STATUS_WORDS.get(one.status, clean(one.status)),
        )
        for one in concern_numbers(summary).values()
        if one.standing != "possible"
    ]
    return words, tuple(rows)


def _coverage_row(seen: Seen, state: str, record: DeckRecord) -> tuple[str, str, str, str]:
    count = "" if seen.count is None else f"{seen.count} of {seen.of}" if seen.of else str(seen.count)
    names = photo_names(seen.photos[:4], record)
    more = len(seen.photos) - len(names)
    listed = ", ".join(names) + (f" and {more} more" if more > 0 else "")
    return (tag_words(seen.element), SEEN_WORDS[state], count, without_keys(clean(seen.why)) or listed)


def _check_row(check: Check) -> tuple[str, ...]:
    unit = clean(check.unit or "")
    return (
        tag_words(check.check),
        VERDICT_WORDS[check.verdict],
        _amount(check.demand, unit),
        _amount(check.capacity, unit),
        "" if check.ratio is None else f"{check.ratio:.2f}",
        without_keys(clean(check.why) + _missing(check.missing, check.why)),
        clean(check.source),
        KIND_WORDS[check.kind],
    )


def _missing(missing: Sequence[str], why: str) -> str:
    """Return the facts that would let a check be said, but for those that its reason names."""
    names = [clean(one) for one in missing if one not in why]
    return f" Missing: {', '.join(names)}." if names else ""


def _amount(value: object, unit: str) -> str:
    if value is None:
        return ""
    if unit == "ft" and isinstance(value, int | float):
        return length_words(value)
    return f"{value:.4g} {unit}".strip() if isinstance(value, int | float) else clean(value)


def _warned(summary: DeckSummary, record: DeckRecord) -> tuple[str, ...]:
    """Return who was told of a stop-use and who lifted it; that nobody is recorded as told, where so."""
    person = summary.tier_by_person
    stopped = "stop-use" in (summary.tier, person.tier if person else None)
    if stopped and not record.warnings:
        return ("There is no record that anybody was told to stop using this deck.", *_lifted(record))
    told = [
        f"Told: {clean(one.told)}, {clean(one.how)}, {minute_words(one.told_at)}"
        f" (recorded by {clean(one.by)})"
        for one in record.warnings
    ]
    return (*told, *_lifted(record))


def _lifted(record: DeckRecord) -> tuple[str, ...]:
    return tuple(
        f"Lifted by {clean(one.by)}, {minute_words(one.at)}: {clean(one.why)}"
        f" (photo after the repair: {photo_names([one.after], record)[0]}){lift_words(fault)}"
        for one, fault in zip(record.lifts, faults_of_lifts(record), strict=True)
    )
