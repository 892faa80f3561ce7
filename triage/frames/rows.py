"""Records as rows in the order of a table's columns, in plain Python values; what is missing is null."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from triage.assess.records import is_of_finding
from triage.label.files import format_boxes
from triage.structure.facts import FACT_KEYS
from triage.structure.telling import as_text

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary
    from triage.library.records import Fact, Label, Photo, Suggestion, Word

Row = tuple[Any, ...]


def photo_rows(photos: Iterable[Photo]) -> Iterator[Row]:
    """Yield the rows of `PHOTOS`."""
    for one in photos:
        yield (
            one.sha,
            one.deck,
            one.visit,
            one.name,
            one.taken_at,
            one.width,
            one.height,
            one.camera,
        )


def label_rows(labels: Iterable[Label], deck_of: Mapping[str, str]) -> Iterator[Row]:
    """Yield the rows of `LABELS`; `deck_of` gives the deck of each photo."""
    for one in labels:
        yield (
            one.photo,
            deck_of.get(one.photo),
            one.tag,
            one.value,
            one.by,
            one.at,
            format_boxes(one.boxes) or None,
            one.place,
            one.count,
            one.asked_by,
            one.saw_machine,
            one.note,
        )


def word_rows(words: Mapping[tuple[str, str], Word]) -> Iterator[Row]:
    """Yield the rows of `WORDS` by photo and tag."""
    for (sha, tag), word in sorted(words.items()):
        people = len({label.by for label in word.labels})
        yield sha, tag, word.value, word.disputed, word.settled, people


def suggestion_rows(
    suggestions: Iterable[Suggestion], deck_of: Mapping[str, str], promise: Mapping[str, str]
) -> Iterator[Row]:
    """Yield the rows of `SUGGESTIONS`; `promise` says by tag how the model's promise stands."""
    for one in suggestions:
        yield (
            one.photo,
            deck_of.get(one.photo),
            one.tag,
            one.model,
            one.score,
            one.probability,
            one.pile,
            promise.get(one.tag),
            format_boxes(one.where) or None,
        )


def fact_rows(facts: Iterable[Fact]) -> Iterator[Row]:
    """Yield the rows of `FACTS`; a fact whose key is free text has its value in `text` alone."""
    for one in facts:
        key = FACT_KEYS.get(one.key)
        free = key is not None and key.type == "text"
        is_number = isinstance(one.value, int | float) and not isinstance(one.value, bool)
        yield (
            one.deck,
            one.visit,
            one.key,
            None if free else as_text(one.value),
            float(one.value) if is_number else None,
            (key.unit or None) if key is not None and is_number else None,
            as_text(one.value) if free else None,
            one.by,
            one.at,
            ";".join(one.photos) or None,
        )


def deck_rows(summaries: Iterable[DeckSummary], photos: Mapping[str, int]) -> Iterator[Row]:
    """Yield the rows of `DECKS`; `photos` counts the photos by deck."""
    for one in summaries:
        person = one.tier_by_person
        yield (
            one.deck,
            one.visit,
            photos.get(one.deck, 0),
            one.tier,
            one.shown_tier,
            one.tier_if_true,
            person.tier if person else None,
            person.by if person else None,
            person.at if person else None,
            person.why if person else None,
            one.gaps,
            one.unreviewed,
            sum(concern.is_open for concern in one.concerns),
            one.height_class,
            float(one.known),
            float(one.up_to),
        )


def concern_rows(summaries: Iterable[DeckSummary]) -> Iterator[Row]:
    """Yield the rows of `CONCERNS`, deck by deck, repaired ones among them."""
    for summary in summaries:
        for one in summary.concerns:
            is_finding = is_of_finding(one.rule)
            yield (
                summary.deck,
                summary.visit,
                one.rule,
                one.tag,
                one.kind,
                one.standing,
                one.status,
                one.tier,
                one.severity,
                one.element,
                one.place,
                one.count,
                None if is_finding else one.concluded,
                one.concluded if is_finding else None,
                one.call,
                one.source,
                ";".join(one.photos) or None,
            )


def coverage_rows(summaries: Iterable[DeckSummary]) -> Iterator[Row]:
    """Yield the rows of `COVERAGE`, deck by deck."""
    for summary in summaries:
        for one in summary.coverage:
            yield (
                summary.deck,
                summary.visit,
                one.element,
                one.seen,
                one.count,
                one.of,
                one.why,
                ";".join(one.photos) or None,
            )
