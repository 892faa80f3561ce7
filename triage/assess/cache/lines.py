"""The cached summary of every deck, worst first; `refresh` keeps it up to date.

What is kept is what `assess_library` returns (a test compares the two). Where nothing can be written,
everything is assessed in memory.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.cache.refresh import basis_of, best_evidence, bring_up, kept_rho
from triage.assess.evidence import assess_library
from triage.assess.order import DANGER, LOOK, Ordering
from triage.batching import lots
from triage.domain.tiers import shown_tier
from triage.errors import NotWritten
from triage.library import assessment_rows
from triage.library.look_lines import leads_of
from triage.library.records import PersonTier

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary
    from triage.batch import Progress
    from triage.library import Library

_READ = 200


@dataclass(frozen=True)
class Line:
    """One deck of the list, without its concerns; `best` is the best photo of its first open concern."""

    deck: str
    visit: str | None
    tier: str | None
    tier_if_true: str | None
    tier_by_person: PersonTier | None
    gaps: str
    unreviewed: int
    photos: int
    labelled: int
    reason: str
    best: str | None
    best_tag: str

    @property
    def shown_tier(self) -> str | None:
        """The tier that every list shows: a person's own where it is worse than the computed one."""
        return shown_tier(self.tier, self.tier_by_person.tier if self.tier_by_person else None)


@dataclass(frozen=True)
class Kept:
    """The decks of a library, worst first, and their summaries as `assess --json` prints them."""

    lines: Sequence[Line]
    _library: Library
    _whole: Mapping[str, dict[str, Any]] | None = None

    def summaries(self) -> Iterator[dict[str, Any]]:
        """Yield every deck's summary, worst first, reading a few at a time."""
        names = [line.deck for line in self.lines]
        if self._whole is not None:
            yield from (self._whole[deck] for deck in names)
            return
        for chunk in lots(names, _READ):
            packed = assessment_rows.packed_summaries(self._library, chunk)
            yield from (json.loads(zlib.decompress(packed[deck])) for deck in chunk if deck in packed)


def standings(library: Library, progress: Progress | None = None, order: str = DANGER) -> Kept:
    """Return the current summary of every deck, after assessing again those with new records.

    Raises BadInput for a rule or tag file that cannot be taken.
    """
    try:
        bring_up(library, progress)
    except NotWritten:
        return standings_in_memory(library, order)
    return last_standings(library, order)


def last_standings(library: Library, order: str = DANGER) -> Kept:
    """Return what is kept, some of it perhaps out of date: see `out_of_date`."""
    with library.read() as connection:
        rho = kept_rho(connection)
        rows = assessment_rows.complete_rows(connection)
    leads = leads_of(library) if order == LOOK else {}
    rows = sorted(rows, key=lambda row: _ordering(row, rho, leads.get(row.deck, 0)).key(order))
    return Kept([_line(row) for row in rows], library)


def open_by_deck(library: Library) -> dict[str, int]:
    """Return how many questions are open on each deck whose cached summary is current."""
    return assessment_rows.unreviewed_on(library, basis_of(library))


def open_on_photos(library: Library, decks: Sequence[str]) -> dict[str, bool]:
    """Say for each deck whose cached summary is current whether a concern that photos show is open on it."""
    basis, found = basis_of(library), {}
    kept = assessment_rows.bases(library)
    fresh = [deck for deck in decks if kept.get(deck) == basis]
    for chunk in lots(fresh, _READ):
        for deck, packed in assessment_rows.packed_summaries(library, chunk).items():
            concerns = json.loads(zlib.decompress(packed))["concerns"]
            found[deck] = any(one["photos"] and one["status"] != "repaired" for one in concerns)
    return found


def _line(row: Any) -> Line:
    person = PersonTier(**row.by_person) if row.by_person else None
    return Line(
        row.deck,
        row.visit,
        row.tier,
        row.tier_if_true,
        person,
        row.gaps,
        row.unreviewed,
        row.photos,
        row.labelled,
        row.reason,
        row.best,
        row.best_tag,
    )


def _ordering(row: Any, rho: float, leads: int) -> Ordering:
    expected = row.expected_apart + rho * (row.expected_together - row.expected_apart)
    return Ordering(row.deck, row.step, row.step_if_true, row.known, row.up_to, expected, leads)


def standings_in_memory(library: Library, order: str = DANGER) -> Kept:
    """Return the current summary of every deck, all assessed again and nothing cached."""
    from triage.library.counts import deck_counts

    counts = deck_counts(library)
    found = assess_library(library, order=order)
    lines = [_line_of(one, counts.get(one.deck, (0, 0))) for one in found]
    return Kept(lines, library, {one.deck: one.to_json() for one in found})


def _line_of(summary: DeckSummary, counts: tuple[int, int]) -> Line:
    best, tag = best_evidence(summary)
    return Line(
        summary.deck,
        summary.visit,
        summary.tier,
        summary.tier_if_true,
        summary.tier_by_person,
        summary.gaps,
        summary.unreviewed,
        *counts,
        summary.reason,
        best,
        tag,
    )
