"""What changed between two assessments, in sentences: for amendments and for reports that were overtaken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.audit.corrections import corrections
from triage.library import queries
from triage.report.phrases import GAP_WORDS, STANDING_WORDS, STATUS_WORDS, tag_words, tier_short
from triage.report.text import clean

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary
    from triage.library import Library

_FIELDS = ("place", "count", "concluded", "why", "repair", "verify_on_site", "call")


def assessment_changes(old: Sequence[DeckSummary], new: Sequence[DeckSummary]) -> list[str]:
    """Return one sentence for each thing that differs between two assessments; none when nothing does."""
    before = {one.deck: one for one in old}
    after = {one.deck: one for one in new}
    found = [f"Deck {clean(deck)} is no longer in the report." for deck in before if deck not in after]
    for deck, summary in after.items():
        if deck not in before:
            found.append(f"Deck {clean(deck)} is new in the report.")
        else:
            found += [f"Deck {clean(deck)}: {one}" for one in _deck_changes(before[deck], summary)]
    if not found and [one.deck for one in old] != [one.deck for one in new]:
        found.append("The order of the decks changed.")
    return found


def _deck_changes(old: DeckSummary, new: DeckSummary) -> list[str]:
    found = []
    if old.tier != new.tier:
        found.append(f"the tier was '{tier_short(old.tier)}' and is now '{tier_short(new.tier)}'.")
    if old.gaps != new.gaps:
        found.append(f"the gaps were '{_gap(old.gaps)}' and are now '{_gap(new.gaps)}'.")
    if old.unreviewed != new.unreviewed:
        found.append(f"unanswered questions were {old.unreviewed} and are now {new.unreviewed}.")
    found += _person_changes(old, new)
    before, after = _keyed(old.concerns), _keyed(new.concerns)
    found += [f"concern '{_name(one)}' is gone." for key, one in before.items() if key not in after]
    found += [f"concern '{_name(one)}' is new." for key, one in after.items() if key not in before]
    for key, one in after.items():
        if key in before:
            found += [f"concern '{_name(one)}': {words}" for words in _concern_changes(before[key], one)]
    return found + _other_changes(old, new)


def _gap(gaps: str) -> str:
    return GAP_WORDS.get(gaps, gaps)


def _person_changes(old: DeckSummary, new: DeckSummary) -> list[str]:
    if old.tier_by_person == new.tier_by_person:
        return []
    if new.tier_by_person is None:
        return ["the tier that a person had set is withdrawn."]
    said = new.tier_by_person
    return [f"{clean(said.by)} set the tier '{tier_short(said.tier)}': {clean(said.why)}"]


def _concern_changes(old: Concern, new: Concern) -> list[str]:
    found = []
    if old.tier != new.tier:
        found.append(f"the tier was '{tier_short(old.tier)}' and is now '{tier_short(new.tier)}'.")
    for name, words in (("standing", STANDING_WORDS), ("status", STATUS_WORDS)):
        was, now = getattr(old, name), getattr(new, name)
        if was != now:
            found.append(f"the {name} was '{words.get(was, was)}' and is now '{words.get(now, now)}'.")
    for name in _FIELDS:
        was, now = getattr(old, name), getattr(new, name)
        if was != now:
            found.append(
                f"{tag_words(name.replace('_', '-'))} was '{clean(was or '')}', is now '{clean(now or '')}'."
            )
    if old.photos != new.photos or dict(old.boxes) != dict(new.boxes):
        found.append("its photos or the spots marked in them changed.")
    return found


def _other_changes(old: DeckSummary, new: DeckSummary) -> list[str]:
    found = []
    if old.coverage != new.coverage:
        found.append("what was seen of its parts changed.")
    if old.checks != new.checks:
        found.append("its structural checks changed.")
    if not found and old.reason != new.reason:
        found.append("the reason for its place in the order changed.")
    return found


def _keyed(concerns: Sequence[Concern]) -> dict[tuple[str, str, int], Concern]:
    """Return concerns by rule and place; several of one rule and place are told apart by their order."""
    found: dict[tuple[str, str, int], Concern] = {}
    for one in concerns:
        number = 0
        while (one.rule, one.place or "", number) in found:
            number += 1
        found[(one.rule, one.place or "", number)] = one
    return found


def _name(one: Concern) -> str:
    return clean(one.rule + (f" at {one.place}" if one.place else ""))


@dataclass(frozen=True)
class Flag:
    """Something that happened to a photo after a report that uses it was issued."""

    number: str
    photo: str
    what: str
    by: str
    at: str

    def __str__(self) -> str:
        return (
            f"Report {self.number} uses photo {self.photo}, which was {self.what} by {self.by} at {self.at},"
            " after the report was issued."
        )


def changed_since(lib: Library) -> list[Flag]:
    """Return what happened since to the photos of issued reports: moved, labeled, taken back, removed."""
    names = {one.sha: one.path_name for one in queries.photos(lib)}
    return [
        Flag(one.report, names.get(one.photo, one.photo[:12]), one.what, one.event.by, one.event.at)
        for one in corrections(lib)
    ]
