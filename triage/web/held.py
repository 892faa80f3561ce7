"""How connections are held: a browser opens a handful; anything that opens hundreds gets no further.

Uvicorn answers 503 to everybody once its limit is reached and never closes a connection on which nothing was
asked, so a thousand silent connections would lock the inspector out. Here the oldest silent connection makes
room for a new one, then the oldest one whose request does not come to its end; one that asks nothing in time
is closed.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

MAX_CONNECTIONS = 128
FIRST_REQUEST_S = 20.0


class HeldProtocol(H11Protocol):
    """HTTP/1.1 with a limit on connections that favors those in use."""

    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Take a connection, and close the oldest silent one where there are too many."""
        super().connection_made(transport)
        mine: dict[Any, None] = self.app_state.setdefault("held", {})
        mine[self] = None
        self._timer = self.loop.call_later(FIRST_REQUEST_S, self._close_if_silent)
        if len(mine) > MAX_CONNECTIONS:
            others = [one for one in mine if one is not self]
            silent = (one for one in others if one.is_silent())
            slow = (one for one in others if one.is_slow())
            oldest = next(silent, None) or next(slow, self)
            mine.pop(oldest, None)
            oldest.transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        self.app_state.get("held", {}).pop(self, None)
        if self._timer is not None:
            self._timer.cancel()
        super().connection_lost(exc)

    def is_silent(self) -> bool:
        """Return whether no request is under way."""
        cycle = getattr(self, "cycle", None)
        return cycle is None or bool(cycle.response_complete)

    def is_slow(self) -> bool:
        """Return whether a request began and the rest of it has not come yet."""
        cycle = getattr(self, "cycle", None)
        return cycle is not None and bool(cycle.more_body) and not cycle.response_started

    def _close_if_silent(self) -> None:
        never_asked = getattr(self, "cycle", None) is None
        if never_asked and not self.transport.is_closing():
            self.transport.abort()
