"""All decks, worst first, with gaps beside tiers."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from triage.assess.status import SORTING, next_step
from triage.library.counts import label_count, labelled_counts, photo_counts, piles_present
from triage.library.records import UNSORTED
from triage.web.request_context import RequestContext
from triage.web.standing import Standing

SHOWN = 100
"""Decks on one screen."""
_WAIT_S = 0.35
_WAITING_SHOWN = 24
"""Photos without a deck that are shown; how many there are is always said."""


def show(ask: RequestContext) -> Response:
    """Show the list, or what is known of it while the decks are being assessed."""
    standing = ask.site.standing(ask.name)
    ready = standing.ready
    if not ready and standing.lines():  # else the script on the page asks for the order at once
        ready = standing.brought_up(_WAIT_S)
    return ask.site.show("decks.html", ask, here="decks", **_table(ask, standing, ready=ready))


def order(ask: RequestContext) -> Response:
    """Return the table alone, once every deck is assessed (waits a while for it)."""
    standing = ask.site.standing(ask.name)
    ready = standing.ready or standing.brought_up(20.0)
    return ask.site.show("decks_table.html", ask, **_table(ask, standing, ready=ready))


def _table(ask: RequestContext, standing: Standing, *, ready: bool) -> dict[str, Any]:
    known = standing.lines()
    counts = photo_counts(ask.library)
    rows: list[dict[str, Any]] = [
        {"number": number, "deck": one.deck, "one": one, "photos": counts.get(one.deck, 0)}
        for number, one in enumerate(known, 1)
    ]
    named = {one.deck for one in known}
    rows += [
        {"number": None, "deck": deck, "one": None, "photos": photos}
        for deck, photos in sorted(counts.items())
        if deck not in named
    ]
    page = max(1, int(ask.query["page"])) if ask.query.get("page", "").isdigit() else 1
    pages = max(1, -(-len(rows) // SHOWN))
    page = min(page, pages)
    shown = rows[(page - 1) * SHOWN : page * SHOWN]
    labelled = labelled_counts(ask.library, [row["deck"] for row in shown])
    for row in shown:
        row["labelled"] = labelled.get(row["deck"], 0)
    photos = sum(counts.values())
    unreviewed = sum(one.unreviewed for one in known)
    library = ask.library
    waiting = library.photos(UNSORTED)
    step = next_step(
        photos,
        label_count(library),
        unreviewed if ready else 1,
        piles_present(library),
        trained=library.model() is not None,
        waiting=len(waiting),
    )
    return {
        "step": step,
        "first": known[0].deck if known else next(iter(sorted(counts)), ""),
        "rows": shown,
        "ready": ready,
        "failed": str(standing.failed) if standing.failed else "",
        "page": page,
        "pages": pages,
        "decks": len(rows),
        "photos": photos,
        "unreviewed": unreviewed,
        "waiting": len(waiting),
        "waiting_shown": waiting[:_WAITING_SHOWN],
        "sorting": SORTING.format(where=f"-L {library.path}"),
    }
