"""Caches the assessment of each deck: only decks that an event touched are assessed again.

A row is fresh while its basis is the present one: the program, the firm's rules and tags, the model and how
its promises; anything recorded about a deck empties its basis (`assess/cache/stale.py`). Rho is fitted
over all decks, and P is linear in it, so a row keeps what its suggestions weigh at rho 0 and at rho 1 and a
new rho changes no row.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from triage import version
from triage.assess.combining import RHO
from triage.assess.evidence import gather_all, mixing_rows, promise_words, rho_of_rows, rule_book_of
from triage.assess.order import ordering
from triage.assess.records import DeckEvidence, DeckSummary
from triage.assess.summary import assess_deck
from triage.batching import lots
from triage.domain.acts import FIRM_FILE
from triage.errors import Cancelled
from triage.library import assessment_rows, queries
from triage.library.database import Connection, writing
from triage.library.settings import drop_setting, keep_setting, setting

if TYPE_CHECKING:
    from triage.assess.rules import RuleBook
    from triage.batch import Cancel, Progress
    from triage.domain.vocabulary import Vocabulary
    from triage.library import Library

_LOT = 50
RHO_KEY = "rho"
"""The setting that holds the rho that was fitted last."""
_ROOMS = ("assess", "data", "domain", "library", "presort", "structure")
"""What a summary is computed by: a change in any of these files makes every row out of date."""


def out_of_date(library: Library) -> list[str]:
    """Return the decks whose cached assessment is not current, by name."""
    return _stale_and_gone(library, basis_of(library))[0]


def _stale_and_gone(library: Library, basis: str) -> tuple[list[str], list[str]]:
    """Return the decks that are not kept on a basis, and the kept ones that are decks no more, by name."""
    with library.read() as connection:
        known = set(queries.decks(connection))
        rows = assessment_rows.bases(connection)
    return sorted(deck for deck in known if rows.get(deck) != basis), sorted(rows.keys() - known)


def bring_up(library: Library, progress: Progress | None = None, cancel: Cancel | None = None) -> int:
    """Assess again every deck that is out of date; returns how many there were. What is done stays done.

    Raises NotWritten where the library cannot be written, Cancelled between lots when `cancel()` says so.
    """
    basis = basis_of(library)  # before the rest is read: a change meanwhile makes the rows out of date
    stale, gone = _stale_and_gone(library, basis)
    if gone:
        _drop(library, gone)
    if stale:
        library.forget_vocabulary()
        worker = _Worker(library, basis, rule_book_of(library), library.vocabulary(), promise_words(library))
        done = 0
        for lot in lots(stale, _LOT):
            if cancel is not None and cancel():
                raise Cancelled("Stopped; the decks that were assessed are kept.")
            worker.refresh(lot)
            done += len(lot)
            if progress is not None:
                progress("assess", done, len(stale))
    _fit_again(library)
    return len(stale)


@dataclass(frozen=True)
class _Worker:
    library: Library
    basis: str
    book: RuleBook
    vocabulary: Vocabulary
    promise: dict[str, str]

    def refresh(self, decks: Sequence[str]) -> None:
        """Assess some decks and keep them, unless something is recorded about one meanwhile."""
        with writing(self.library.engine) as connection:
            said = assessment_rows.begin_rows(connection, decks)
        known = [deck for deck in decks if queries.is_deck(self.library, deck)]
        rows, summaries = {}, {}
        for evidence in gather_all(self.library, known, promise=self.promise) if known else ():
            summary = assess_deck(evidence, self.book, self.vocabulary, rho=0.0)
            rows[evidence.deck] = _row(evidence, summary, self.vocabulary.core) | {"basis": self.basis}
            summaries[evidence.deck] = _packed(summary)
        with writing(self.library.engine) as connection:
            drop_setting(connection, RHO_KEY)
            for deck, row in rows.items():
                assessment_rows.keep_row(connection, deck, said[deck], row, summaries[deck])


def _drop(library: Library, decks: Sequence[str]) -> None:
    """Drop the rows of decks."""
    with writing(library.engine) as connection:
        drop_setting(connection, RHO_KEY)
        assessment_rows.drop_decks(connection, decks)


def _fit_again(library: Library) -> None:
    """Fit rho over all decks where a row has changed since it was fitted."""
    if setting(library, RHO_KEY) is not None:
        return
    with writing(library.engine) as connection:
        rows = [np.frombuffer(one).reshape(-1, 3) for one in assessment_rows.mixings(connection)]
        keep_setting(connection, RHO_KEY, repr(rho_of_rows(rows)))


def kept_rho(connection: Connection) -> float:
    """Return the rho that was fitted last, over all decks."""
    said = setting(connection, RHO_KEY)
    return RHO if said is None else float(said)


def best_evidence(summary: DeckSummary) -> tuple[str | None, str]:
    """Return the best photo of the first open concern that has any, and its tag."""
    best = next((concern for concern in summary.concerns if concern.is_open and concern.photos), None)
    return (best.photos[0], best.tag or "") if best else (None, "")


def _row(evidence: DeckEvidence, apart: DeckSummary, tags: Sequence[str]) -> dict[str, Any]:
    """Return the row of a summary, with what its suggestions weigh at rho 0 and at rho 1."""
    person = apart.tier_by_person
    photos, labelled = _counts(evidence)
    best, best_tag = best_evidence(apart)
    place = ordering(apart)
    mixing = mixing_rows(evidence, tags)
    return {
        "visit": apart.visit,
        "tier": apart.tier,
        "tier_if_true": apart.tier_if_true,
        "by_person": None if person is None else vars(person),
        "gaps": apart.gaps,
        "unreviewed": apart.unreviewed,
        "photos": photos,
        "labelled": labelled,
        "step": place.step,
        "step_if_true": place.step_if_true,
        "known": place.known,
        "up_to": place.up_to,
        "expected_apart": apart.expected_ends[0],
        "expected_together": apart.expected_ends[1],
        "reason": apart.reason,
        "best": best,
        "best_tag": best_tag,
        "mixing": mixing.tobytes() if len(mixing) else None,
    }


def _packed(summary: DeckSummary) -> bytes:
    return zlib.compress(json.dumps(summary.to_json(), ensure_ascii=False).encode(), 1)


def _counts(evidence: DeckEvidence) -> tuple[int, int]:
    visits = evidence.visits()
    photos = {photo.sha for one in visits for photo in one.photos}
    return len(photos), len({sha for one in visits for sha, _ in one.words} & photos)


# ---- what the rows rest on ------------------------------------------------------------------------------


def basis_of(library: Library) -> str:
    """Return what a summary is based on besides the deck's own records, as one short text."""
    said = [event.hash for kind in ("presorted", "audited") for event in queries.statements(library, kind)]
    own = (library.own_rules, library.own_tags, library.own_severity, library.path / FIRM_FILE)
    files = [_digest(file) for file in own]
    parts = [_program(), *files, queries.model_in_use(library) or "", *said]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:24]


def _digest(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest() if file.exists() else ""


@cache
def _program() -> str:
    """Return what tells this program from one of other rules: a hash of its files, one on any machine."""
    root = Path(version.__file__).parent
    files = [file for room in _ROOMS for kind in ("py", "toml") for file in (root / room).rglob(f"*.{kind}")]
    told = hashlib.sha256(version.__version__.encode())
    for file in sorted(files):
        told.update(file.relative_to(root).as_posix().encode() + b"\0" + file.read_bytes())
    return told.hexdigest()
