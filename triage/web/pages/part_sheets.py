"""A deck's proposals: one contact sheet for each part, confirmed in one act, exceptions by a click."""

from __future__ import annotations

from typing import Any

from starlette.responses import JSONResponse, Response

from triage.assess.parts_asked import part_tags
from triage.domain.vocabulary import SHOWS
from triage.errors import BadInput
from triage.library import queries
from triage.presort.sheets import DOUBTFUL, NO, YES, sheet_of
from triage.presort.sheets import confirm as confirm_sheet
from triage.report.phrases import tag_words
from triage.report.text import count_of
from triage.web.pages.photo import text
from triage.web.request_context import RequestContext
from triage.web.told import VALUE_WORDS

_MOST = 5_000
_HEADS = {
    YES: "The machine says yes",
    DOUBTFUL: "In doubt: without a click these stay open",
    NO: "The machine says no",
}


def show(ask: RequestContext) -> Response:
    """Show the sheet of one part of a deck, or of the first one that is open; with links to the others."""
    deck = ask.deck()
    sheets = {tag: sheet_of(ask.library, [deck], tag) for tag in _tags(ask, deck)}
    left = {tag: sheet for tag, sheet in sheets.items() if sheet.photos}
    wanted = ask.query.get("tag", "")
    tag = wanted if wanted in left else next(iter(left), "")
    return ask.site.show(
        "proposals.html",
        ask,
        here="proposals",
        deck_name=deck,
        sheet=left.get(tag),
        heads=_HEADS,
        words=tag_words(tag.removeprefix(SHOWS)),
        left=[(one, tag_words(one.removeprefix(SHOWS)), len(sheet.photos)) for one, sheet in left.items()],
        proposed=left[tag].proposed() if tag else {},
    )


def _tags(ask: RequestContext, deck: str) -> list[str]:
    """Return the parts that this deck is asked for and that the machine speaks of."""
    said = {tag for _, tag in queries.suggestions(ask.library, deck=deck)}
    return [tag for tag in part_tags(ask.library, deck) if tag in said]


def confirm(ask: RequestContext) -> Response:
    """Take a sheet as confirmed, with its exceptions: one act."""
    deck, tag = ask.deck(), text(ask.data, "tag")
    rows = ask.data.get("photos")
    if (
        not isinstance(rows, list)
        or not 0 < len(rows) <= _MOST
        or not all(isinstance(one, dict) for one in rows)
    ):
        raise BadInput("No photo was looked at.", "Look at the photos first.")
    given = {text(row, "photo"): row for row in rows}
    sheet = sheet_of(ask.library, [deck], tag)
    if sheet.model != text(ask.data, "model") or sheet.proposed() != _shown(given):
        raise BadInput("The photos or proposals changed meanwhile.", "Load the page again.")
    labels = confirm_sheet(
        ask.library,
        sheet,
        by=ask.by,
        seen={sha: _pixels(row) for sha, row in given.items()},
        clicked={sha: text(row, "value") for sha, row in given.items() if row.get("value")},
        opened=[sha for sha, row in given.items() if row.get("opened") is True],
    )
    values = [one.value for one in labels]
    told = ", ".join(f"{values.count(one)} {words}" for one, words in VALUE_WORDS.items() if one in values)
    following = next((one for one in _tags(ask, deck) if sheet_of(ask.library, [deck], one).photos), None)
    where = ask.url("proposals", d=deck, tag=following) if following else ask.url("deck", d=deck)
    ask.session.told = f"{count_of(len(labels), 'photo')} answered for {tag_words(tag)}: {told}."
    return JSONResponse({"told": ask.session.told, "next": where})


def _shown(given: dict[str, Any]) -> dict[str, str]:
    """Return what the page says that it proposed, by photo; photos in doubt are left out."""
    return {sha: text(row, "proposed") for sha, row in given.items() if row.get("proposed")}


def _pixels(row: dict[str, Any]) -> int:
    """Return at how many pixels a photo was shown. Raises BadInput."""
    shown = row.get("shown")
    if isinstance(shown, bool) or not isinstance(shown, int) or not 0 <= shown <= 100_000:
        raise BadInput("How large a photo was shown is not known.", "Load the page again.")
    return shown
