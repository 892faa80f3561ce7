"""The assessment of a library kept ready: only decks that something was said about are assessed again.

What it keeps is exactly what `assess_library` returns; a test compares the two.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from triage.assess.combining import RHO
from triage.assess.evidence import fitted_rho, gather_all, rule_book_of
from triage.assess.order import rank
from triage.assess.summary import assess_deck
from triage.library import log
from triage.library.tables import event as event_table
from triage.library.tables import placing

if TYPE_CHECKING:
    from triage.assess.records import DeckEvidence, DeckSummary
    from triage.assess.rules import RuleBook
    from triage.library import Library

_OF_PHOTO = ("label", "settled")
_OF_DECK = (
    "fact",
    "finding",
    "tier",
    "warned",
    "lifted",
    "closed",
    "deck-set",
    "repair-done",
    "placed",
    "moved",
)
_OF_NONE = ("photo-added", "issued", "repairs-read")
_CHUNK = 500


class Standing:
    """The decks of one library, assessed; safe to ask from several threads."""

    def __init__(self, library: Library) -> None:
        self.library = library
        self._state = threading.Lock()
        """Guards what is kept; held for moments only."""
        self._work = threading.RLock()
        """Held while decks are assessed: one thread at a time."""
        self._head: dict[str, int] = {}
        self._evidence: dict[str, DeckEvidence] = {}
        self._summaries: dict[str, DeckSummary] = {}
        self._stale: set[str] = set()
        self._all_stale = True
        self._rho = RHO
        self._book: RuleBook | None = None
        self._rules_at: tuple[float, float] = (0.0, 0.0)
        self._worker: threading.Thread | None = None
        self.failed: Exception | None = None

    @property
    def ready(self) -> bool:
        """Whether every deck stands as the library does now; false while somebody is still at it."""
        if not self._work.acquire(blocking=False):
            return False
        try:
            self._note_news()
            return not self._all_stale and not self._stale
        finally:
            self._work.release()

    def all(self) -> list[DeckSummary]:
        """Return all decks, worst first, after assessing again what changed."""
        with self._work:
            self._note_news()
            if self._all_stale or self._stale:
                self._refresh()
            return rank(self.kept().values())

    def kept(self) -> dict[str, DeckSummary]:
        """Return what is known without assessing anything; some of it may be out of date."""
        with self._state:
            return dict(self._summaries)

    def of(self, deck: str) -> DeckSummary:
        """Return one deck as it stands now. Raises BadInput for an unknown one.

        While all decks are being assessed this one is assessed beside them.
        """
        if not self._work.acquire(blocking=False):
            return self._aside(deck)
        try:
            self._note_news()
            if self._all_stale or deck in self._stale or deck not in self._summaries:
                self._assess([deck])
                self._stale.add(deck)  # until rho over all decks was looked at again
            return self._summaries[deck]
        finally:
            self._work.release()

    def _aside(self, deck: str) -> DeckSummary:
        evidence = gather_all(self.library, [deck])[0]
        found = assess_deck(evidence, rule_book_of(self.library), self.library.vocabulary(), rho=self._rho)
        with self._state:
            self._summaries[deck] = found
        return found

    def last(self, deck: str) -> DeckSummary | None:
        """Return what was last known of a deck, however old."""
        return self.kept().get(deck)

    def start(self) -> None:
        """Bring everything up to date in the background."""
        with self._state:
            if self._worker is not None and self._worker.is_alive():
                return
            self._worker = threading.Thread(target=self._bring_up, name="standing", daemon=True)
            self._worker.start()

    def wait(self, seconds: float) -> bool:
        """Wait for the background; returns whether it is done."""
        worker = self._worker
        if worker is not None:
            worker.join(seconds)
        return worker is None or not worker.is_alive()

    def _bring_up(self) -> None:
        try:
            self.all()
            self.failed = None
        except Exception as error:  # kept and shown by the page that asked
            self.failed = error

    # ---- what changed ---------------------------------------------------------------------------------

    def _note_news(self) -> None:
        rules_at = tuple(
            file.stat().st_mtime if file.exists() else 0.0
            for file in (self.library.own_rules, self.library.own_tags)
        )
        if rules_at != self._rules_at:
            self._rules_at, self._book, self._all_stale = rules_at, None, True  # type: ignore[assignment]
            self.library.forget_vocabulary()
        with self.library.read() as connection:
            head = {key: int(row["seq"]) for key, row in log.heads(connection).items()}
            if head == self._head:
                return
            if not self._all_stale:
                self._note_events(connection, head)
        self._head = head

    def _note_events(self, connection: Connection, head: dict[str, int]) -> None:
        for log_id, seq in head.items():
            since = self._head.get(log_id, 0)
            if seq - since > _CHUNK or log_id not in self._head:
                self._all_stale = True
                return
            query = select(event_table).where(event_table.c.log_id == log_id, event_table.c.seq > since)
            for row in connection.execute(query).mappings():
                self._note_event(connection, row["kind"], json.loads(row["payload"]))

    def _note_event(self, connection: Connection, kind: str, payload: dict[str, object]) -> None:
        if kind in _OF_NONE:
            return
        if kind in _OF_PHOTO:
            self._stale |= _decks_of(connection, [str(payload["photo"])])
        elif kind in _OF_DECK:
            self._stale |= {str(payload[key]) for key in ("deck", "from") if payload.get(key)}
        elif kind == "undone":
            rows = connection.execute(
                select(event_table.c.kind, event_table.c.payload).where(event_table.c.act == payload["act"])
            )
            for undone in rows:
                self._note_event(connection, undone.kind, json.loads(undone.payload))
        else:
            self._all_stale = True

    # ---- assessing --------------------------------------------------------------------------------------

    def _refresh(self) -> None:
        if self._all_stale:
            self._evidence = {one.deck: one for one in gather_all(self.library)}
            stale = set(self._evidence)
            with self._state:
                self._summaries = {deck: one for deck, one in self._summaries.items() if deck in stale}
        else:
            known = set(self.library.decks())
            for gone in (self._stale | set(self._evidence)) - known:
                self._evidence.pop(gone, None)
                with self._state:
                    self._summaries.pop(gone, None)
            stale = self._stale & known
            self._gather(sorted(stale))
        rho = fitted_rho(self._evidence.values(), self.library.vocabulary().core)
        if rho != self._rho:
            self._rho, stale = rho, set(self._evidence)
        self._conclude(sorted(stale))
        self._stale, self._all_stale = set(), False

    def _gather(self, decks: Sequence[str]) -> None:
        if decks:
            self._evidence |= {one.deck: one for one in gather_all(self.library, decks)}

    def _assess(self, decks: Sequence[str]) -> None:
        self._gather(decks)
        self._conclude(decks)

    def _conclude(self, decks: Sequence[str]) -> None:
        if self._book is None:
            self._book = rule_book_of(self.library)
        vocabulary = self.library.vocabulary()
        for deck in decks:
            found = assess_deck(self._evidence[deck], self._book, vocabulary, rho=self._rho)
            with self._state:
                self._summaries[deck] = found


def _decks_of(connection: Connection, shas: Sequence[str]) -> set[str]:
    query = select(placing.c.deck).where(placing.c.key.in_(shas), placing.c.current.is_(True))
    return set(connection.execute(query).scalars())
