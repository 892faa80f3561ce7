"""The first screen: libraries, who speaks, another browser, closing."""

from __future__ import annotations

import secrets
import shutil
import threading
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from triage.errors import BadInput, TriageError
from triage.library.counts import photo_counts
from triage.report.text import count_of
from triage.web.bodies import chunks
from triage.web.request_context import RequestContext, WrongFields, back, refused, url
from triage.web.uploads import KEEP_FREE_BYTES, MAX_ZIP_UPLOAD_BYTES

_MAX_NAME = 80


def show(ask: RequestContext) -> Response:
    """List the libraries, or go straight to the one that was named at the start, once."""
    first, ask.site.first = ask.site.first, None
    if first is not None:
        return back(url(first))
    rows: list[dict[str, Any]] = []
    for name in ask.site.home.names():
        try:
            counts = photo_counts(ask.site.home.library(name))
        except TriageError as error:
            rows.append({"name": name, "fault": str(error)})
            continue
        rows.append({"name": name, "fault": "", "decks": len(counts), "photos": sum(counts.values())})
    return ask.site.show("home.html", ask, rows=rows, invited="", here="home")


def who(ask: RequestContext) -> Response:
    """Note the name under which this browser speaks from now on."""
    name = " ".join(ask.need("name", "Your name").split())
    if len(name) > _MAX_NAME or not name.isprintable():
        raise BadInput("That name cannot be used.", f"Use at most {_MAX_NAME} ordinary characters.")
    ask.session.by = name
    ask.session.names.add(name)
    return back(own_address(ask.text("next")))


def own_address(text: str) -> str:
    """Return an address inside this page: the path that was asked for, or the first screen."""
    inside = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return text if inside else "/"


def new(ask: RequestContext) -> Response:
    """Make an empty library below the home folder."""
    name = ask.need("library", "The library's name")
    ask.take(library=lambda: ask.site.home.make(name))
    return back(url(name.strip()))


def restore_route(path: str) -> Route:
    """Return the route that takes a backup as the bare body of a request and makes a library of it."""

    async def endpoint(request: Request) -> Response:
        ask = RequestContext(
            request.app.state.site,
            request.scope["session"],
            "",
            {},
            dict(request.query_params),
            wants_json=True,
        )
        try:
            return await _restored(request, ask)
        except TriageError as error:
            return refused(ask, error)
        except OSError as error:
            return refused(ask, TriageError(f"{error.strerror or error}.", "Free some space and try again."))

    return Route(path, endpoint, methods=["POST"])


async def _restored(request: Request, ask: RequestContext) -> Response:
    from triage.library.backup import restore

    name = ask.query.get("library", "")
    folder = ask.take(library=lambda: ask.site.home.free_name(name))["library"]
    folder.parent.mkdir(parents=True, exist_ok=True)
    free = shutil.disk_usage(folder.parent).free - KEEP_FREE_BYTES
    file = folder.parent / f".{secrets.token_hex(8)}.backup"
    try:
        with file.open("wb") as out:
            async for chunk in chunks(request, max(1, min(MAX_ZIP_UPLOAD_BYTES, free))):
                await run_in_threadpool(out.write, chunk)
        try:
            count = await run_in_threadpool(restore, file, folder)
        except TriageError as error:  # the file's name here says nothing to anybody
            said = str(error).replace(str(file), "This file")
            raise WrongFields({"file": f"{said} {error.hint}".strip()}) from error
    finally:
        file.unlink(missing_ok=True)
    ask.session.told = f"Restored: {count_of(count, 'file')}, each checked against its hash."
    return JSONResponse({"where": url(folder.name)})


def invite(ask: RequestContext) -> Response:
    """Show an address that lets one more browser of this machine in."""
    return ask.site.show("invite.html", ask, address=ask.site.entrance())


def stop(ask: RequestContext) -> Response:
    """Close the page's server, after this answer."""
    threading.Timer(0.3, ask.site.stop).start()
    return ask.site.show("stopped.html", ask)
