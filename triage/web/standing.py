"""How the decks of one library stand, for the page: kept up to date in the background.

The list comes from what is kept beside the log (`assess/cache`); one deck that is looked at is assessed at
once, whatever else is being done.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

from triage.assess.cache.lines import Kept, Line, last_standings, standings_in_memory
from triage.assess.cache.refresh import bring_up, kept_rho, out_of_date
from triage.assess.evidence import gather, rule_book_of
from triage.assess.order import DANGER
from triage.assess.summary import assess_deck
from triage.errors import Cancelled, NotWritten
from triage.web.looks import Looks

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary
    from triage.library import Library
    from triage.report.ready import Blocking


class Standing:
    """The decks of one library; safe to ask from several threads."""

    def __init__(self, library: Library) -> None:
        self.library = library
        self._state = threading.Lock()
        self._shown: dict[str, DeckSummary] = {}
        """Decks as they were shown last."""
        self._unwritten: tuple[Any, Kept] | None = None
        """All decks, and the head they belong to, where the library cannot be written."""
        self._worker: threading.Thread | None = None
        self._warming: threading.Thread | None = None
        self._stopped = threading.Event()
        self.looks = Looks(library)
        self.left: tuple[Any, list[Blocking]] | None = None
        """What was left before a report may be issued, and the head of the log that it belongs to."""
        self.failed: Exception | None = None

    @property
    def ready(self) -> bool:
        """Whether every deck is known as the library stands now."""
        return self._memory is not None or not out_of_date(self.library)

    def lines(self, order: str = DANGER) -> list[Line]:
        """Return what is known of the decks in one of the two orders; some of it may be out of date."""
        kept = self._memory
        if kept is None:
            return list(last_standings(self.library, order).lines)
        return list((kept if order == DANGER else standings_in_memory(self.library, order)).lines)

    @property
    def _memory(self) -> Kept | None:
        """What was assessed in memory, while nothing new was said; null where the library can be written."""
        return self._unwritten[1] if self._unwritten and self._unwritten[0] == self.library.head() else None

    def of(self, deck: str) -> DeckSummary:
        """Return one deck as it stands now. Raises BadInput for an unknown one."""
        evidence = gather(self.library, deck)
        with self.library.read() as connection:
            rho = kept_rho(connection)
        found = assess_deck(evidence, rule_book_of(self.library), self.library.vocabulary(), rho=rho)
        with self._state:
            self._shown[deck] = found
        return found

    def last(self, deck: str) -> DeckSummary | None:
        """Return a deck as it was shown last, however old; null where it was not."""
        with self._state:
            return self._shown.get(deck)

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

    def brought_up(self, seconds: float) -> bool:
        """Bring everything up to date, waiting so long for it; returns whether every deck is known."""
        self.start()
        self.wait(seconds)
        return self.ready

    def _warm(self) -> None:
        """Go through what could be found out, apart from the thread that the list of decks waits for."""
        if self._warming is None or not self._warming.is_alive():
            self._warming = threading.Thread(
                target=self.looks.bring_up, args=(self._stopped.is_set,), name="looks", daemon=True
            )
            self._warming.start()

    def warmed(self, seconds: float) -> bool:
        """Go through what could be found out, waiting so long for it; returns whether every deck was."""
        if not self.looks.behind():
            return True
        self._warm()
        if self._warming is not None:
            self._warming.join(seconds)
        return not self.looks.behind()

    def stop(self) -> None:
        """End the background after the decks in hand; what was assessed is kept."""
        self._stopped.set()
        self.wait(5.0)
        if self._warming is not None:
            self._warming.join(5.0)

    def _bring_up(self) -> None:
        try:
            try:
                bring_up(self.library, cancel=self._stopped.is_set)
                self._warm()
            except NotWritten:
                self._unwritten = (self.library.head(), standings_in_memory(self.library))
            self.failed = None
        except Cancelled:
            return
        except Exception as error:  # kept and shown by the page that asked
            self.failed = error
