"""All decks, worst first, with gaps beside tiers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from triage.assess.order import DANGER, LOOK
from triage.assess.sheets_waiting import sheets_waiting
from triage.assess.status import SORTING, next_step
from triage.library import queries
from triage.library.counts import (
    disputes_by_deck,
    first_photos,
    label_count,
    photo_counts,
    piles_present,
)
from triage.library.records import UNSORTED
from triage.web.plan_rows import plan_lists
from triage.web.request_context import RequestContext
from triage.web.standing import Standing

if TYPE_CHECKING:
    from triage.assess.cache.lines import Line

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


SORTS = {
    "rank": "by rank",
    "name": "by name",
    "open": "most open questions first",
    "photos": "most photos first",
    "visit": "latest visit first",
}
ORDERS = {
    DANGER: ("Close or repair first", "By what is known: the worst first."),
    LOOK: ("Go and see first", "By what the unseen, the unanswered and the unconfirmed could add."),
}
UNASKED = {"sort": "rank", "order": DANGER}
"""How the list stands where nobody asked for anything else."""
SHOWS_ONLY = {
    "": "all decks",
    "open": "with open questions",
    "disputed": "where people disagree",
    "gaps": "with serious gaps",
}


def _chosen(ask: RequestContext, rows: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """Return the rows that the address asks for, in its order, and how it was asked."""
    wish = {
        "q": ask.query.get("q", "").strip()[:200],
        "tier": ask.query.get("tier", ""),
        "only": ask.query.get("only", ""),
        "sort": ask.query.get("sort", "rank"),
        "order": LOOK if ask.query.get("order") == LOOK else DANGER,
    }
    wanted = wish["q"].casefold()
    tests: list[Any] = [lambda row: wanted in row["deck"].casefold()]
    if wish["tier"]:
        tests.append(lambda row: row["one"] is not None and (row["one"].shown_tier or "none") == wish["tier"])
    if wish["only"] == "open":
        tests.append(lambda row: row["one"] is None or row["one"].unreviewed > 0)
    if wish["only"] == "disputed":
        tests.append(lambda row: row["disputes"] > 0)
    if wish["only"] == "gaps":
        tests.append(lambda row: row["one"] is not None and row["one"].gaps == "serious")
    found = [row for row in rows if all(test(row) for test in tests)]
    keys: dict[str, Any] = {
        "name": lambda row: row["deck"].casefold(),
        "open": lambda row: -(row["one"].unreviewed if row["one"] else 0),
        "photos": lambda row: -row["photos"],
    }
    if wish["sort"] in keys:
        found.sort(key=keys[wish["sort"]])
    if wish["sort"] == "visit":
        found.sort(key=lambda row: (row["one"].visit or "") if row["one"] else "", reverse=True)
    return found, wish


def _rows(
    known: Sequence[Line], counts: Mapping[str, int], disputes: Mapping[str, int]
) -> list[dict[str, Any]]:
    """Return every deck as a row: those that were assessed in order, then the others by name."""
    rows: list[dict[str, Any]] = [
        {"number": number, "deck": one.deck, "one": one} for number, one in enumerate(known, 1)
    ]
    named = {one.deck for one in known}
    rows += [{"number": None, "deck": deck, "one": None} for deck in sorted(counts) if deck not in named]
    for row in rows:
        row |= {"photos": counts.get(row["deck"], 0), "disputes": disputes.get(row["deck"], 0)}
    return rows


def _table(ask: RequestContext, standing: Standing, *, ready: bool) -> dict[str, Any]:
    known = standing.lines(LOOK if ask.query.get("order") == LOOK else DANGER)
    counts, disputes = photo_counts(ask.library), disputes_by_deck(ask.library)
    rows = _rows(known, counts, disputes)
    decks = len(rows)
    rows, wish = _chosen(ask, rows)
    asked = {key: value for key, value in wish.items() if value and value != UNASKED.get(key)}
    found_all = not ask.query.get("page") and asked.keys() <= {"order"}
    page = max(1, int(ask.query["page"])) if ask.query.get("page", "").isdigit() else 1
    pages = max(1, -(-len(rows) // SHOWN))
    page = min(page, pages)
    shown = rows[(page - 1) * SHOWN : page * SHOWN]
    firsts = first_photos(ask.library, [row["deck"] for row in shown])
    proposed: dict[str, int] = {}
    for one in sheets_waiting(ask.library, [row["deck"] for row in shown]):
        proposed[one.deck] = proposed.get(one.deck, 0) + one.photos
    for row in shown:
        row["first"] = firsts.get(row["deck"])
        row["proposed"] = proposed.get(row["deck"], 0)
    photos = sum(counts.values())
    unreviewed = sum(one.unreviewed for one in known)
    library = ask.library
    waiting = queries.photos(library, UNSORTED)
    step = next_step(
        photos,
        label_count(library),
        unreviewed if ready else 1,
        piles_present(library),
        trained=queries.model_in_use(library) is not None,
        waiting=len(waiting),
    )
    return {
        "step": step,
        "first": known[0].deck if known else next(iter(sorted(counts)), ""),
        "rows": shown,
        "proposed": sum(proposed.values()),
        "ready": ready,
        "failed": str(standing.failed) if standing.failed else "",
        "page": page,
        "pages": pages,
        "decks": decks,
        "found": len(rows),
        "wish": wish,
        "asked": asked,
        "orders": ORDERS,
        "sorts": SORTS,
        "onlys": SHOWS_ONLY,
        "plan": plan_lists(library, known) if ready and found_all else [],
        "disputes": sum(disputes.values()),
        "photos": photos,
        "unreviewed": unreviewed,
        "waiting": len(waiting),
        "waiting_shown": waiting[:_WAITING_SHOWN],
        "sorting": SORTING.format(where=f"-L {library.path}"),
    }
