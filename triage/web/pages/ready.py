"""What is left before a report may be issued, each with the place on the page where it is put right."""

from __future__ import annotations

from starlette.responses import Response

from triage.domain.vocabulary import SHOWS
from triage.report.ready import KINDS, Blocking, blocking
from triage.web.request_context import RequestContext

_MOST = 100
"""So many entries of one kind are listed; their number is always said."""


def show(ask: RequestContext) -> Response:
    """List what blocks, by kind."""
    deck = ask.deck() if ask.query.get("d") else ""
    left = blocking(ask.library, [deck] if deck else None)
    kinds = []
    for kind, words in KINDS.items():
        mine = [one for one in left if one.kind == kind]
        if mine:
            kinds.append((words, len(mine), [(one, where_mended(ask, one)) for one in mine[:_MOST]]))
    return ask.site.show("ready.html", ask, here="ready", deck_name=deck, left=len(left), kinds=kinds)


def where_mended(ask: RequestContext, one: Blocking) -> str:
    """Return the address at which an entry is put right; it leads back here: see `base.html`."""
    back = {"from": "ready", "rd": ask.query.get("d")}
    if one.kind == "dispute":
        return ask.url("disputes", **back)
    if one.photo and one.kind != "question":
        return ask.url(f"photo/{one.photo}", tag=one.about, **back)
    if one.kind == "not-looked-for":
        return ask.url("look", d=one.deck, tag=SHOWS + one.about, **back)
    if one.kind == "contradiction":
        return ask.url("deck/facts", d=one.deck, **back)
    return ask.url("waiting", **back)
