"""Who may use the page: one-time tokens in an address, swapped for a cookie; the name they speak under."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from dataclasses import dataclass, field

TOKEN_LIVES_S = 12 * 3600.0
MAX_SESSIONS = 64


@dataclass
class Session:
    """One browser that was let in.

    `by` is the name that its next page speaks under, empty until somebody says one; `names` are all that were
    said, since a tab that is open goes on under the name it shows; `asked` are (library, name) of those about
    whom nothing is to be asked any more. `told` is said on its next page.
    """

    key: str
    by: str = ""
    names: set[str] = field(default_factory=set)
    asked: set[tuple[str, str]] = field(default_factory=set)
    told: str = ""
    seen_at: float = field(default_factory=time.monotonic)


class Sessions:
    """Tokens that are good for one entrance each, and the browsers that came in with one."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._tokens: dict[str, float] = {}
        self._sessions: dict[str, Session] = {}

    def new_token(self) -> str:
        """Return a fresh one-time token of 256 bits."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._tokens[token] = time.monotonic()
        return token

    def enter(self, token: str) -> Session | None:
        """Swap a token for a session, once; null for a token that is unknown, used or too old."""
        now = time.monotonic()
        with self._lock:
            found = next(
                (one for one in self._tokens if hmac.compare_digest(one.encode(), token.encode())), None
            )
            if found is None:
                return None
            made_at = self._tokens.pop(found)
            if now - made_at > TOKEN_LIVES_S:
                return None
            while len(self._sessions) >= MAX_SESSIONS:
                del self._sessions[min(self._sessions, key=lambda key: self._sessions[key].seen_at)]
            session = Session(secrets.token_urlsafe(32))
            self._sessions[session.key] = session
            return session

    def of(self, key: str | None) -> Session | None:
        """Return the session of a cookie's value, or null."""
        if not key:
            return None
        with self._lock:
            session = self._sessions.get(key)
            if session is not None:
                session.seen_at = time.monotonic()
            return session
