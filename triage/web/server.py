"""Running the page on this machine's loopback address."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from triage.errors import TriageError

if TYPE_CHECKING:
    import uvicorn

    from triage.web.site import Site

LOOPBACK = "127.0.0.1"
DEFAULT_HOME = "deck-triage"
"""Folder below the user's own where libraries are made when no other is named."""
_STOP_S = 5


def listen(port: int = 0) -> socket.socket:
    """Return a listening socket on loopback. Raises TriageError where the port is taken."""
    # asyncio sends small answers at once only where the protocol is named: else each waits 40 ms for an ACK
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((LOOPBACK, port))
    except OSError as error:
        listening.close()
        raise TriageError(
            f"Port {port} cannot be listened on: {error.strerror}.", "Leave --port out, or name another."
        ) from error
    listening.listen(256)
    return listening


class Running:
    """A page that is being served; `url` lets one browser in."""

    def __init__(self, home: Path, *, port: int = 0, library: str | None = None) -> None:
        import uvicorn

        from triage.web.app import build
        from triage.web.held import HeldProtocol
        from triage.web.site import Site

        self.socket = listen(port)
        self.port = int(self.socket.getsockname()[1])
        self.site: Site = Site(home, self.port, first=library)
        config = uvicorn.Config(
            build(self.site),
            http=HeldProtocol,
            ws="none",
            loop="asyncio",
            lifespan="off",
            log_level="error",
            access_log=False,
            server_header=False,
            date_header=True,
            proxy_headers=False,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=_STOP_S,
            h11_max_incomplete_event_size=32_768,
            limit_concurrency=None,
            backlog=256,
        )
        self.server: uvicorn.Server = uvicorn.Server(config)
        self.site.stop = self.ask_to_stop
        self._thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        """A fresh address that lets one browser in."""
        return self.site.entrance()

    def ask_to_stop(self) -> None:
        """End the server once what is under way is answered."""
        self.site.jobs.stopping = True
        self.server.should_exit = True

    def run(self) -> None:
        """Serve until asked to stop or interrupted."""
        with contextlib.closing(self.socket):
            try:
                self.server.run(sockets=[self.socket])
            finally:
                self.site.close()

    def __enter__(self) -> Running:
        """Serve in a thread, for tests and benches."""
        self._thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [self.socket]}, daemon=True
        )
        self._thread.start()
        wait_until(lambda: bool(self.server.started))
        return self

    def __exit__(self, *_: object) -> None:
        """Stop and let go of everything."""
        self.ask_to_stop()
        if self._thread is not None:
            self._thread.join(_STOP_S + 5)
        self.socket.close()
        self.site.close()


def wait_until(test: Callable[[], bool], seconds: float = 10.0) -> None:
    """Wait until something holds. Raises TriageError when it does not in time."""
    ends = time.monotonic() + seconds
    while not test():
        if time.monotonic() > ends:
            raise TriageError("The page did not start.", "Start it again.")
        time.sleep(0.01)
