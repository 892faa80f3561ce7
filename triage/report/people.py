"""Names of people on paper: the signer's alone, unless names are asked for.

Everybody else becomes 'reviewer 1', 'reviewer 2' and so on, in the order in which they first spoke about the
decks of the report, so that who agreed with whom can still be followed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from triage.report.source import DeckRecord, Source

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary

ROLES = re.compile(
    r"(?i)(?:the |an? )?(?:home ?|house ?)?(owners?|tenants?|occupants?|residents?|landlord|"
    r"property manager|manager|agent|caretaker|superintendent|building (?:official|department)|contractor|"
    r"engineer|office|family)"
)
"""Who was told, in words that name nobody."""
_PHONE = re.compile(r"(?<![\d-])(?!\d{4}-\d\d-\d\d)\+?\(?\d[\d ()./-]{5,}\d")
SOMEBODY = "a person whose name is kept private"


def unnamed(summaries: Sequence[DeckSummary], source: Source) -> tuple[list[DeckSummary], Source]:
    """Return the summaries and the source with every person's name replaced."""
    names = aliases(summaries, source)
    decks = {deck: _record(record, names) for deck, record in source.decks.items()}
    return [_summary(one, names) for one in summaries], replace(source, decks=decks)


def aliases(summaries: Sequence[DeckSummary], source: Source) -> dict[str, str]:
    """Return 'reviewer N' by name, in the order of the first word about these decks."""
    first: dict[str, str] = {}
    for record in source.decks.values():
        for name, at in _spoken(record):
            first[name] = min(at, first.get(name, at))
    for one in summaries:
        if one.tier_by_person is not None:
            first.setdefault(one.tier_by_person.by, one.tier_by_person.at)
    ordered = sorted(first, key=lambda name: (first[name], name))
    return {name: f"reviewer {number}" for number, name in enumerate(ordered, start=1)}


def told_words(told: str, names_shown: bool) -> str:
    """Return who was told: in full where names are asked for or nobody is named, else that it is private."""
    return told if names_shown or ROLES.fullmatch(told.strip()) else SOMEBODY


def _spoken(record: DeckRecord) -> Iterable[tuple[str, str]]:
    rows: list[Any] = [
        *record.labels,
        *record.facts.values(),
        *record.findings,
        *record.closings,
        *record.warnings,
        *record.lifts,
        *record.repairs,
    ]
    if record.person_tier is not None:
        rows.append(record.person_tier)
    yield from ((row.by, row.at) for row in rows)


def _record(record: DeckRecord, names: Mapping[str, str]) -> DeckRecord:
    def hide(row: Any) -> Any:
        return replace(row, by=names.get(row.by, row.by))

    return replace(
        record,
        labels=tuple(hide(one) for one in record.labels),
        facts={key: hide(fact) for key, fact in record.facts.items()},
        findings=tuple(hide(one) for one in record.findings),
        person_tier=record.person_tier and hide(record.person_tier),
        closings=tuple(hide(one) for one in record.closings),
        warnings=tuple(
            replace(hide(one), told=told_words(one.told, False), how=without_numbers(one.how))
            for one in record.warnings
        ),
        lifts=tuple(hide(one) for one in record.lifts),
        repairs=tuple(
            replace(hide(one), done_by=one.done_by and told_words(one.done_by, False))
            for one in record.repairs
        ),
    )


def _by_nobody(text: str, names: Mapping[str, str]) -> str:
    """Return a sentence of the assessment with 'by NAME' said of nobody by name."""
    for name in sorted(names, key=len, reverse=True):
        text = text.replace(f"by {name}", f"by {names[name]}")
    return text


def without_numbers(text: str) -> str:
    """Return a text with every phone number replaced; dates and times stay."""
    return _PHONE.sub("(number kept private)", text)


def _summary(one: DeckSummary, names: Mapping[str, str]) -> DeckSummary:
    concerns = tuple(replace(each, why=_by_nobody(each.why, names)) for each in one.concerns)
    one = replace(one, concerns=concerns)
    said = one.tier_by_person
    if said is None:
        return one
    alias = names.get(said.by, said.by)
    reason = one.reason
    if reason.startswith(f"{said.by} "):
        reason = f"{alias[0].upper()}{alias[1:]}{reason[len(said.by) :]}"
    return replace(one, tier_by_person=replace(said, by=alias), reason=reason)
