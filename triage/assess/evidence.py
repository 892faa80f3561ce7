"""Reads a library into evidence and assesses its decks; the only module here that knows a library's shape."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.assess.combining import RHO, FloatArray, fit_rho, group_maxima, mixing_ends
from triage.assess.order import DANGER, LOOK, rank
from triage.assess.records import DeckEvidence, DeckSummary
from triage.assess.rules import RuleBook, load_rule_book
from triage.assess.summary import assess_deck
from triage.assess.view import group_of
from triage.domain.acts import second_person
from triage.errors import BadInput
from triage.library import queries
from triage.library.look_lines import leads_of

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.database import Connection
    from triage.library.records import Photo, Suggestion

_FIRST = ""


def assess_library(
    lib: Library,
    decks: Sequence[str] | None = None,
    visit: str | None = None,
    as_of: str | None = None,
    order: str = DANGER,
) -> list[DeckSummary]:
    """Return the summaries of all decks, or of those named, worst first in one of `order.ORDERS`.

    `visit` takes what concerns that visit and earlier ones, whenever recorded; `as_of` (ISO 8601; UTC where
    no zone is given) only what was recorded up to then. Raises BadInput for an unknown deck or a time that
    is none.
    """
    leads = leads_of(lib) if order == LOOK and as_of is None else {}
    return assess_evidence(lib, gather_all(lib, decks, visit, as_of), order, leads)


@dataclass(frozen=True)
class Assessment:
    """The summaries of decks, worst first, with the evidence and the head of the log that they rest on."""

    head: Mapping[str, Any]
    evidence: tuple[DeckEvidence, ...]
    summaries: list[DeckSummary]


def assess_once(lib: Library, decks: Sequence[str] | None = None) -> Assessment:
    """Return the assessment of all decks, or of those named, for acts that need its evidence as well.

    A library without decks has an empty one. Raises BadInput for an unknown deck.
    """
    head = lib.head()  # before the rest: something recorded meanwhile makes the assessment out of date
    evidence = tuple(gather_all(lib, decks))
    return Assessment(head, evidence, assess_evidence(lib, evidence))


def assess_evidence(
    lib: Library,
    evidence: Sequence[DeckEvidence],
    order: str = DANGER,
    leads: Mapping[str, int] | None = None,
) -> list[DeckSummary]:
    """Return the summaries of some evidence by a library's rules and vocabulary, worst first."""
    vocabulary, book = lib.vocabulary(), rule_book_of(lib)
    rho = fitted_rho(evidence, vocabulary.core)
    return rank((assess_deck(one, book, vocabulary, rho=rho) for one in evidence), order, leads or {})


def rule_book_of(lib: Library) -> RuleBook:
    """Return the shipped rules and matrix with the library's own. Raises BadInput for a file with a slip."""
    own = lib.own_rules if lib.own_rules.exists() else None
    return load_rule_book(own, lib.vocabulary(), lib.own_severity)


def gather_all(
    lib: Library,
    decks: Sequence[str] | None = None,
    visit: str | None = None,
    as_of: str | None = None,
    promise: dict[str, str] | None = None,
) -> list[DeckEvidence]:
    """Return the evidence of decks, by name; raises BadInput as `assess_library` does.

    With `visit` and no deck named, decks that had no visit by then are left out. `promise` is `promise_words`
    where it is at hand.
    """
    view = lib.as_of(_utc(as_of)) if as_of else lib
    promise = promise_words(lib) if promise is None else promise
    found = []
    with view.read() as connection:
        for deck in decks or ():
            if not queries.is_deck(connection, deck):
                when = f" as of {as_of}" if as_of else ""
                hint = _hint(queries.decks(connection))
                raise BadInput(f"There is no deck '{deck}' in this library{when}.", hint)
        reading = _Reading(
            connection,
            connection if view is lib else lib,
            queries.model_in_use(connection),
            promise,
            second_person(lib._path),
        )
        for deck in decks or queries.decks(connection):
            known = queries.visits(connection, deck)
            visits = [one for one in known if visit is None or (one or _FIRST) <= visit]
            if visits or decks:
                found.append(reading.evidence(deck, visits))
    return found


def gather(lib: Library, deck: str, visit: str | None = None, as_of: str | None = None) -> DeckEvidence:
    """Return the evidence of one deck at a visit (the latest where none is named), earlier ones in it."""
    return gather_all(lib, [deck], visit, as_of)[0]


@dataclass(frozen=True)
class _Reading:
    """Reads one deck after the other, all of them as they stand at one moment.

    `machine` is where the suggestions of `model` are asked for.
    """

    connection: Connection
    machine: Connection | Library
    model: str | None
    promise: dict[str, str]
    second: frozenset[str]

    def evidence(self, deck: str, visits: list[str | None]) -> DeckEvidence:
        """Return the evidence of a deck at the last of some visits, the earlier ones in it."""
        by_visit = _by_visit(queries.photos(self.connection, deck), visits)
        words = queries.words(self.connection, deck)
        suggestions = queries.suggestions(self.machine, deck, model=self.model) if self.model else {}
        said = queries.deck_statements(self.connection, deck)
        findings, closings = said.findings(), said.closings()
        done: list[DeckEvidence] = []
        for one, photos in by_visit.items():
            shas = {photo.sha for photo in photos}
            done.append(
                DeckEvidence(
                    deck=deck,
                    visit=one,
                    photos=tuple(photos),
                    words={key: word for key, word in words.items() if key[0] in shas},
                    suggestions=_of_photos(suggestions, shas),
                    facts=said.facts(one or None),
                    findings=tuple(f for f in findings if (f.visit or _FIRST) <= (one or _FIRST)),
                    person_tier=said.person_tier(one),
                    closings=tuple(c for c in closings if (c.visit or _FIRST) <= (one or _FIRST)),
                    promise=self.promise,
                    second_person=self.second,
                    earlier=tuple(done),
                )
            )
        return done[-1]


def _by_visit(photos: Sequence[Photo], visits: Sequence[str | None]) -> dict[str | None, list[Photo]]:
    found: dict[str | None, list[Photo]] = {one: [] for one in visits}
    for photo in photos:
        if photo.visit in found:
            found[photo.visit].append(photo)
    dated = [one for one in visits if one is not None]
    if None in found and dated and not any(found[one] for one in dated):
        found[dated[0]] = found.pop(None)  # facts carry the only date that is known
    return found or {None: []}


def _of_photos(
    suggestions: dict[tuple[str, str], Suggestion], shas: set[str]
) -> dict[tuple[str, str], Suggestion]:
    return {key: one for key, one in suggestions.items() if key[0] in shas}


def promise_words(lib: Library) -> dict[str, str]:
    """Return how each tag's promise stands, in one word; empty where no model was trained."""
    if queries.model_in_use(lib) is None:
        return {}
    from triage.presort.of_library import promise_standing

    return {tag: one.standing for tag, one in promise_standing(lib).items()}


def _utc(time: str) -> str:
    try:
        when = datetime.fromisoformat(time)
    except ValueError as error:
        raise BadInput(
            f"'{time}' is not a time.", "Write it as 2026-05-04T16:30 (a zone may follow)."
        ) from error
    when = when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)
    return when.isoformat(timespec="microseconds")


def _hint(known: Sequence[str]) -> str:
    return (
        f"Decks here: {', '.join(known[:8])}{' ...' if len(known) > 8 else ''}"
        if known
        else "It has no decks."
    )


def fitted_rho(evidence: Iterable[DeckEvidence], tags: Sequence[str]) -> float:
    """Return rho by log loss over the decks whose photos are all answered, from 30 decks on; else 0.5.

    A deck counts once per tag; below 30 decks, or where all or none have the defect, rho stays at 0.5.
    """
    rows = [mixing_rows(one, tags) for one in evidence]
    return rho_of_rows([row for row in rows if len(row)])


def rho_of_rows(rows: Sequence[FloatArray]) -> float:
    """Return rho from the `mixing_rows` of each deck that has any."""
    fitted = fit_rho(np.concatenate(rows), len(rows)) if rows else None
    return RHO if fitted is None else fitted


def mixing_rows(one: DeckEvidence, tags: Sequence[str]) -> FloatArray:
    """Return `mixing_ends` (rows, 3): a row for each tag that persons answered on all of a deck's photos."""
    found = []
    for tag in tags:
        words = [one.words.get((photo.sha, tag)) for photo in one.photos]
        guesses = [(p, one.suggestions.get((p.sha, tag))) for p in one.photos]
        answered = words and all(word is not None and word.value != "unclear" for word in words)
        if answered and all(guess is not None for _, guess in guesses):
            maxima = group_maxima((group_of(p), g.probability) for p, g in guesses if g is not None)
            there = any(word is not None and word.value == "present" for word in words)
            found.append(mixing_ends(maxima, there))
    return np.array(found, np.float64).reshape(-1, 3)
