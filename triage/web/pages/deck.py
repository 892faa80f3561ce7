"""One deck: its contact sheet, its summary, its history."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import JSONResponse, Response

from triage.assess.status import next_open_deck
from triage.library import queries
from triage.report.gather import deck_record
from triage.report.sayings import sayings
from triage.web.pages.panel import panel_words
from triage.web.request_context import RequestContext
from triage.web.told import standing_json

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary


def sheet(ask: RequestContext) -> Response:
    """Show the contact sheet, the first screen of a deck."""
    deck = ask.deck()
    words = panel_words(ask, deck)
    return ask.site.show(
        "sheet.html", ask, here="photos", deck_name=deck, answered=_just_answered(ask), **words
    )


def _just_answered(ask: RequestContext) -> DeckSummary | None:
    """Return the deck that was answered right before this one was shown."""
    named = ask.query.get("answered", "")
    return ask.site.standing(ask.name).of(named) if queries.is_deck(ask.library, named) else None


def summary(ask: RequestContext) -> Response:
    """Show concerns with their evidence, coverage, what to go back for, and how the deck stands."""
    deck = ask.deck()
    one = ask.site.standing(ask.name).of(deck)
    photos = {photo.sha: photo for photo in queries.photos(ask.library, deck)}
    return ask.site.show(
        "summary.html",
        ask,
        here="summary",
        deck_name=deck,
        one=one,
        photos=photos,
        private=queries.deck_private(ask.library, deck),
        next_deck=next_open_deck(ask.library, deck),
    )


def history(ask: RequestContext) -> Response:
    """Show who said what and when."""
    deck = ask.deck()
    one = ask.site.standing(ask.name).of(deck)
    rows = sayings(deck_record(ask.library, deck, one.visit))
    return ask.site.show("history.html", ask, here="history", deck_name=deck, rows=rows[::-1], one=one)


def standing(ask: RequestContext) -> Response:
    """Return how a deck stands now, and what changed since it was last shown."""
    deck = ask.deck()
    kept = ask.site.standing(ask.name)
    before = kept.last(deck)
    return JSONResponse(standing_json(kept.of(deck), before, ask.words))
