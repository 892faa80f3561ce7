"""What would most change the order of the decks, kept at hand: each deck is gone through once per change."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from triage.assess.cache.refresh import basis_of
from triage.assess.evidence import gather_all, promise_words, rule_book_of
from triage.assess.next_look import DeckAsks, NextLook, asks_of, best_of
from triage.library import queries
from triage.library.assessment_rows import news_counts

if TYPE_CHECKING:
    from triage.library import Library

_LOT = 10
_PAUSE_S = 0.01
"""Between lots, so that a page asked for meanwhile is answered."""
Version = tuple[str, int]


class Looks:
    """What could be found out at each deck of one library; a deck with news is gone through again."""

    def __init__(self, library: Library) -> None:
        self.library = library
        self._lock = threading.Lock()
        self._asks: dict[str, tuple[Version, DeckAsks]] = {}

    def bring_up(self, cancel: Callable[[], bool] = lambda: False) -> None:
        """Go through every deck that is new or of which something was said since."""
        with self._lock:
            versions = self._versions()
            for gone in self._asks.keys() - versions.keys():
                del self._asks[gone]
            stale = [deck for deck, version in versions.items() if self._asks.get(deck, ("",))[0] != version]
            if not stale:
                return
            book, vocabulary, promise = (
                rule_book_of(self.library),
                self.library.vocabulary(),
                promise_words(self.library),
            )
            for start in range(0, len(stale), _LOT):
                if cancel():
                    return
                for evidence in gather_all(self.library, stale[start : start + _LOT], promise=promise):
                    self._asks[evidence.deck] = (
                        versions[evidence.deck],
                        asks_of(evidence, book, vocabulary),
                    )
                time.sleep(_PAUSE_S)

    def behind(self) -> int:
        """Return how many decks were not gone through as they stand now."""
        versions = self._versions()
        return sum(self._asks.get(deck, ("",))[0] != version for deck, version in versions.items())

    def best(self, n: int) -> list[NextLook]:
        """Return up to `n` looks over the decks that are known, best first."""
        asks = [asks for _, asks in sorted(self._asks.copy().values(), key=lambda one: str(one[0]))]
        return best_of(asks, n, self.library.vocabulary())

    def _versions(self) -> dict[str, Version]:
        """Return each deck with what tells whether something new was said of it: see `assess.cache`."""
        basis = basis_of(self.library)
        with self.library.read() as connection:
            decks = queries.decks(connection)
            said = news_counts(connection)
        return {deck: (basis, said.get(deck, -1)) for deck in decks}
