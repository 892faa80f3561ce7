"""Where people disagree, and settling it."""

from __future__ import annotations

from starlette.responses import Response

from triage.errors import BadInput
from triage.label.rows import settle
from triage.library import queries
from triage.library.counts import disputed_pairs
from triage.web.request_context import RequestContext, photo_of
from triage.web.told import VALUE_WORDS

_MOST = 200


def show(ask: RequestContext) -> Response:
    """List the disputes: who said what, with the photo."""
    library = ask.library
    pairs = disputed_pairs(library)
    rows = []
    with library.read() as connection:
        photos = {photo.sha: photo for photo in queries.photos_by_sha(connection, [sha for sha, _ in pairs])}
        for sha, tag in pairs:
            word = queries.words(connection, photo=sha, tag=tag).get((sha, tag))
            if word is not None and word.disputed and sha in photos:
                rows.append((photos[sha], word))
    rows.sort(key=lambda row: (row[0].deck, row[1].tag, row[0].name))
    return ask.site.show("disputes.html", ask, here="disputes", rows=rows[:_MOST], count=len(rows))


def _value(ask: RequestContext) -> str:
    value = ask.text("value")
    if value not in VALUE_WORDS:
        raise BadInput("Nothing was chosen.", "Choose yes, no or cannot tell.")
    return value


def end(ask: RequestContext) -> Response:
    """Settle one dispute, with the reason."""
    photo = photo_of(ask.library, ask.text("photo"))
    given = ask.take(value=lambda: _value(ask), why=lambda: ask.need("why", "The reason"))
    settle(ask.library, photo, ask.text("tag"), given["value"], why=given["why"], by=ask.by)
    return ask.done(ask.url("disputes"), "Settled; everybody's words are kept.")
