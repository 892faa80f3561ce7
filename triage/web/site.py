"""What one running page holds: the home folder, who was let in, assessments kept ready, jobs."""

from __future__ import annotations

import threading
from bisect import bisect_left
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.responses import HTMLResponse

from triage.library import queries
from triage.web.homes import Home
from triage.web.jobs import Jobs
from triage.web.queues import Queues
from triage.web.render import render
from triage.web.sessions import Sessions
from triage.web.standing import Standing

if TYPE_CHECKING:
    from triage.library import Library
    from triage.web.request_context import RequestContext


class Site:
    """Everything that lives as long as the server."""

    def __init__(self, home: Path, port: int, *, first: str | None = None) -> None:
        self.home = Home(home)
        self.port = port
        self.first = first
        self.sessions = Sessions()
        self.jobs = Jobs()
        self.queues = Queues()
        self.planes: dict[Any, Any] = {}
        self.stop: Callable[[], None] = lambda: None
        self._lock = threading.Lock()
        self._standing: dict[str, Standing] = {}

    def entrance(self) -> str:
        """Return an address that lets one browser in."""
        return f"http://127.0.0.1:{self.port}/?token={self.sessions.new_token()}"

    def standing(self, name: str) -> Standing:
        """Return the assessments of a library. Raises NoLibrary."""
        library = self.home.library(name)
        with self._lock:
            found = self._standing.get(name)
            if found is None or found.library is not library:
                found = self._standing[name] = Standing(library)
            return found

    def show(self, template: str, ask: RequestContext, *, status: int = 200, **words: Any) -> HTMLResponse:
        """Return a page with what every page carries."""
        library = _open(ask)
        shared: dict[str, Any] = {
            "ask": ask,
            "by": ask.session.by,
            "lib": ask.name if library is not None else "",
            "deck_name": "",
            "here": "",
            "told": ask.session.told,
            "near": self._near(ask, str(words.get("deck_name", ""))) if library is not None else None,
            "running": self.jobs.running(ask.name) if library is not None else None,
        }
        ask.session.told = ""
        return HTMLResponse(render(template, **{**shared, **words}), status_code=status)

    def _near(self, ask: RequestContext, deck: str) -> dict[str, str]:
        """Return the decks before and after one, by name, for the links on every page of a deck."""
        if not deck:
            return {}
        decks = queries.decks(ask.library)
        place = bisect_left(decks, deck)
        after = place + (1 if place < len(decks) and decks[place] == deck else 0)
        return {
            "before": decks[place - 1] if place > 0 else "",
            "after": decks[after] if after < len(decks) else "",
        }

    def close(self) -> None:
        """Stop the jobs and let go of every library."""
        self.jobs.stop_all()
        for standing in self._standing.values():
            standing.stop()
        self.home.close()


def _open(ask: RequestContext) -> Library | None:
    from triage.errors import TriageError

    try:
        return ask.library if ask.name else None
    except TriageError:
        return None
