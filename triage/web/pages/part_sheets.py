"""Contact sheets of proposals, of one deck or across decks: one a part, exceptions by a click, one act."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.responses import JSONResponse, Response

from triage.assess.parts_asked import part_tags
from triage.assess.sheets_waiting import element_tags, heap_of, sheets_waiting
from triage.domain.vocabulary import SHOWS
from triage.errors import BadInput
from triage.library import queries
from triage.presort.sheets import A_HEAP, DOUBTFUL, NO, YES, sheet_of
from triage.presort.sheets import confirm as confirm_sheet
from triage.report.phrases import tag_words
from triage.report.text import count_of
from triage.web.pages.photo import text
from triage.web.request_context import RequestContext, photo_of
from triage.web.told import VALUE_WORDS

if TYPE_CHECKING:
    from triage.presort.sheets import Sheet

_MOST = 5_000
_HEADS = {
    YES: "The machine says yes",
    DOUBTFUL: "In doubt: without a click these stay open",
    NO: "The machine says no",
}


def show(ask: RequestContext) -> Response:
    """Show the sheet of one part, of a deck or across decks; without a part, the first that is open."""
    deck = ask.deck() if ask.query.get("d") else ""
    left = _left(ask, deck)
    wanted = ask.query.get("tag", "")
    tag = wanted if wanted in left else next(iter(left), "")
    sheet = _sheet(ask, deck, tag) if tag else None
    return ask.site.show(
        "proposals.html",
        ask,
        here="proposals",
        deck_name=deck,
        sheet=sheet,
        trained=queries.model_in_use(ask.library) is not None,
        heads=_HEADS,
        most=A_HEAP,
        words=tag_words(tag.removeprefix(SHOWS)),
        left=[(one, tag_words(one.removeprefix(SHOWS)), number) for one, number in left.items()],
        proposed=sheet.proposed() if sheet else {},
    )


def _left(ask: RequestContext, deck: str) -> dict[str, int]:
    """Return by part how many photos wait, of a deck or of all, along the load path."""
    found: dict[str, int] = {}
    for one in sheets_waiting(ask.library, [deck] if deck else None):
        found[one.tag] = found.get(one.tag, 0) + one.photos
    return {tag: found[tag] for tag in element_tags(ask.library) if tag in found}


def _sheet(ask: RequestContext, deck: str, tag: str) -> Sheet | None:
    return sheet_of(ask.library, [deck], tag) if deck else heap_of(ask.library, tag)


def confirm(ask: RequestContext) -> Response:
    """Take a sheet as confirmed, with its exceptions: one act."""
    deck, tag = ask.deck() if ask.data.get("deck") else "", text(ask.data, "tag")
    rows = ask.data.get("photos")
    if (
        not isinstance(rows, list)
        or not 0 < len(rows) <= _MOST
        or not all(isinstance(one, dict) for one in rows)
    ):
        raise BadInput("No photo was looked at.", "Look at the photos first.")
    given = {text(row, "photo"): row for row in rows}
    sheet = sheet_of(ask.library, [deck], tag) if deck else _of_these(ask, tag, given)
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
    ask.session.told = f"{count_of(len(labels), 'photo')} answered for {tag_words(tag)}: {told}."
    still_open = len(given) - len(labels)
    return JSONResponse({"told": ask.session.told, "next": _following(ask, deck, tag, still_open)})


def _of_these(ask: RequestContext, tag: str, given: dict[str, Any]) -> Sheet:
    """Return the sheet of the photos that the page showed, as it stands now. Raises BadInput."""
    decks = sorted({photo_of(ask.library, sha).deck for sha in given})
    asked = [deck for deck in decks if tag in part_tags(ask.library, deck)]
    if not asked:
        raise BadInput("No deck of these photos is asked for this part.", "Load the page again.")
    return sheet_of(ask.library, asked, tag, only=given)


def _following(ask: RequestContext, deck: str, tag: str, still_open: int) -> str:
    """Return where to go on: this part again while photos wait that were not on the sheet, else another one.

    `still_open` photos were shown and left in doubt.
    """
    left = _left(ask, deck)
    if not deck and left.get(tag, 0) > still_open:
        return ask.url("proposals", tag=tag)
    path = element_tags(ask.library)
    here = path.index(tag)
    following = next((one for one in (*path[here + 1 :], *path[:here]) if one in left), None)
    if following is None:
        return ask.url("deck", d=deck) if deck else ask.url("")
    return ask.url("proposals", d=deck, tag=following) if deck else ask.url("proposals", tag=following)


def _shown(given: dict[str, Any]) -> dict[str, str]:
    """Return what the page says that it proposed, by photo; photos in doubt are left out."""
    return {sha: text(row, "proposed") for sha, row in given.items() if row.get("proposed")}


def _pixels(row: dict[str, Any]) -> int:
    """Return at how many pixels a photo was shown. Raises BadInput."""
    shown = row.get("shown")
    if isinstance(shown, bool) or not isinstance(shown, int) or not 0 <= shown <= 100_000:
        raise BadInput("How large a photo was shown is not known.", "Load the page again.")
    return shown
