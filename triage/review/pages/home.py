"""The first screen: libraries, who speaks, another browser, closing."""

from __future__ import annotations

import threading
from typing import Any

from starlette.responses import Response

from triage.errors import BadInput, TriageError
from triage.library.counts import deck_counts
from triage.review.ask import Ask, back, url

_MAX_NAME = 80


def show(ask: Ask) -> Response:
    """List the libraries, or go straight to the one that was named at the start, once."""
    first, ask.site.first = ask.site.first, None
    if first is not None:
        return back(url(first))
    rows: list[dict[str, Any]] = []
    for name in ask.site.home.names():
        try:
            counts = deck_counts(ask.site.home.library(name))
        except TriageError as error:
            rows.append({"name": name, "fault": str(error)})
            continue
        rows.append(
            {"name": name, "fault": "", "decks": len(counts), "photos": sum(n for n, _ in counts.values())}
        )
    return ask.site.show("home.html", ask, rows=rows, invited="", here="home")


def who(ask: Ask) -> Response:
    """Note the name under which this browser speaks from now on."""
    name = " ".join(ask.need("name", "Your name").split())
    if len(name) > _MAX_NAME or not name.isprintable():
        raise BadInput("That name cannot be used.", f"Use at most {_MAX_NAME} ordinary characters.")
    ask.session.by = name
    return back(own_address(ask.text("next")))


def own_address(text: str) -> str:
    """Return an address inside this page: the path that was asked for, or the first screen."""
    inside = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return text if inside else "/"


def new(ask: Ask) -> Response:
    """Make an empty library below the home folder."""
    name = ask.need("library", "The library's name")
    ask.site.home.make(name)
    return back(url(name.strip()))


def invite(ask: Ask) -> Response:
    """Show an address that lets one more browser of this machine in."""
    return ask.site.show("invite.html", ask, address=ask.site.entrance())


def stop(ask: Ask) -> Response:
    """Close the page's server, after this answer."""
    threading.Timer(0.3, ask.site.stop).start()
    return ask.site.show("stopped.html", ask)
