"""The gate in front of every page: refuses what does not come from this page in a browser that was let in.

In this order: the Host must be one of this server's own names (against DNS rebinding); Sec-Fetch-Site, where
the browser sends it, must not name another site; a request that changes something must carry this server's
Origin; and a session cookie is needed, got once for the token in the address. Every answer carries a strict
Content-Security-Policy.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from triage.report.viewing import script_source
from triage.web.sessions import Sessions

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
REPORT_POLICY = (
    "sandbox allow-popups allow-scripts; default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    f"script-src {script_source()}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""A report is one file with its style and pictures inside, shown as a site of its own. The one script that
may run in it is the viewer of this version, known by its hash: it reaches neither this server nor another."""

_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),  # `no-referrer` would make the Origin of our own forms `null`
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), usb=()"),
)
_READING = ("GET", "HEAD")
_FROM_HERE = ("same-origin", "none")


class Guard:
    """ASGI middleware that holds every rule of the gate. `port` is where this server listens."""

    def __init__(self, app: App, sessions: Sessions, port: int) -> None:
        self.app, self.sessions = app, sessions
        names = ("127.0.0.1", "localhost")
        self.hosts = {f"{name}:{port}" for name in names} | (set(names) if port == 80 else set())
        self.origins = {f"http://{host}" for host in self.hosts}
        self.cookie = f"deck-triage-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # the page has no web sockets
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = _headers(scope)
        token = self._token(scope)
        reason = self.refusal(scope["method"], headers, entering=token is not None)
        if reason is not None:
            await answer(send, *reason)
            return
        if token is not None:
            await self._enter(send, token, headers)
            return
        session = self.sessions.of(_cookie(headers.get("cookie", [""])[0], self.cookie))
        if session is None:
            await answer(
                send,
                401,
                "This page needs the address that deck-triage review printed, with its token. "
                "Each address lets one browser in; ask for another in the browser that is in already, "
                "or start the page again.",
            )
            return
        scope["session"] = session
        await self.app(scope, receive, _with_headers(send))

    def refusal(
        self, method: str, headers: dict[str, list[str]], *, entering: bool = False
    ) -> tuple[int, str] | None:
        """Return the status and sentence of a refusal, or null where nothing speaks against a request.

        A browser may come in from elsewhere (the private file that `review` opens), as a page of its own.
        """
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return 421, "This server answers to its own name only."
        if method not in (*_READING, "POST"):
            return 405, "This server reads and takes; it knows no other method."
        comes_in = entering and headers.get("sec-fetch-mode") == ["navigate"]
        comes_in = comes_in and headers.get("sec-fetch-dest") == ["document"]
        if not comes_in and any(value not in _FROM_HERE for value in headers.get("sec-fetch-site", [])):
            return 403, "Another site asked for this; it was refused."
        origins = headers.get("origin", [])
        if any(origin not in self.origins for origin in origins):
            return 403, "Another site asked for this; it was refused."
        if method == "POST" and len(origins) != 1:
            return 403, "Nobody says which page this comes from; it was refused."
        return None

    @staticmethod
    def _token(scope: Scope) -> str | None:
        if scope["path"] != "/" or scope["method"] != "GET":
            return None
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token")
        return given[0] if given else None

    async def _enter(self, send: Send, token: str, came: dict[str, list[str]]) -> None:
        session = self.sessions.enter(token)
        if session is None:
            await answer(
                send, 401, "This address was used already or is not of this server. Start the page again."
            )
            return
        cookie = f"{self.cookie}={session.key}; HttpOnly; SameSite=Strict; Path=/"
        headers = [(b"set-cookie", cookie.encode()), (b"cache-control", b"no-store")]
        if any(value not in _FROM_HERE for value in came.get("sec-fetch-site", [])):
            # a redirect would count as coming from elsewhere, and the cookie would not be sent with it
            await answer(send, 200, _GO_ON, headers, kind="text/html")
        else:
            await answer(send, 303, "Signed in.", [(b"location", b"/"), *headers])


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _cookie(text: str, name: str) -> str | None:
    jar: SimpleCookie = SimpleCookie()
    try:
        jar.load(text)
    except CookieError:
        return None
    return jar[name].value if name in jar else None


_GO_ON = (
    '<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0; url=/">'
    '<title>deck-triage</title><p><a href="/">Signed in. Go on</a></p>'
)


async def answer(
    send: Send,
    status: int,
    text: str,
    more: list[tuple[bytes, bytes]] | None = None,
    *,
    kind: str = "text/plain",
) -> None:
    """Send one sentence, with the headers that every answer carries."""
    body = (text + "\n").encode()
    headers = [
        (b"content-type", f"{kind}; charset=utf-8".encode()),
        (b"content-length", str(len(body)).encode()),
    ]
    start = {"type": "http.response.start", "status": status, "headers": headers + (more or [])}
    send = _with_headers(send)
    await send(start)
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Send) -> Send:
    """Add the safety headers to an answer; one that brings its own policy keeps it."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", []))
            have = {name.lower() for name, _ in headers}
            if b"content-security-policy" not in have:
                headers.append((b"content-security-policy", POLICY.encode()))
            if b"cache-control" not in have:
                headers.append((b"cache-control", b"no-store"))
            message = {**message, "headers": headers + [one for one in _HEADERS if one[0] not in have]}
        await send(message)

    return sending
