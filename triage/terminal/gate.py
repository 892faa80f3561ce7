"""Which keys may act: none that was typed before the screen showed what the key is about.

A key carries the time at which the terminal's reader took it, on another thread than the one that draws.
The gate closes whenever something else is about to be shown and opens when that has been drawn; a key that
was typed before it opened, or while it was closed, is dropped and counted, never kept for later. A key that
answers must also come `settle_s` after the opening: faster than that nobody reacts to a picture, so it was
meant for the one before.
"""

from __future__ import annotations

from triage.domain.plurals import count_of

SETTLE_S = 0.15
"""The page's time too: how long a photo stands on the screen before a key answers it."""


class Gate:
    """Open while the screen shows something that keys can be about."""

    def __init__(self, settle_s: float = SETTLE_S) -> None:
        self.settle_s = settle_s
        self.dropped = 0
        self._opened_at: float | None = None
        self._turn = 0

    @property
    def is_open(self) -> bool:
        """Whether something is shown."""
        return self._opened_at is not None

    def close(self) -> int:
        """Close until what comes now is drawn; returns the turn to open with."""
        self._opened_at = None
        self._turn += 1
        return self._turn

    def open(self, turn: int, now: float) -> bool:
        """Open, unless something else is about to be shown since; returns whether it opened."""
        if turn != self._turn:
            return False
        if self._opened_at is None:
            self._opened_at = now
        return True

    def is_at(self, turn: int) -> bool:
        """Whether what a turn stands for is on the screen still."""
        return self.is_open and turn == self._turn

    def takes(self, typed_at: float, *, answers: bool) -> bool:
        """Say whether a key typed at some time may act; one that may not is counted as dropped."""
        since = self._opened_at
        if since is not None and typed_at >= since + (self.settle_s if answers else 0.0):
            return True
        self.dropped += 1
        return False

    def told(self) -> str:
        """Return how many keys were dropped since this was asked last, in words; empty for none."""
        number, self.dropped = self.dropped, 0
        if not number:
            return ""
        keys = count_of(number, "key was", "keys were")
        return f"{keys} typed too early and dropped."
