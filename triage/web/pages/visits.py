"""Two visits of a deck side by side, and closing a concern with a photo before and one after."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from triage.assess.compare import compare
from triage.errors import BadInput
from triage.ingest import check_visit
from triage.library import queries
from triage.library.records import Photo
from triage.matching import propose_places
from triage.web.request_context import RequestContext


def side_by_side(ask: RequestContext) -> Response:
    """Show what got better or worse between two visits, and what nobody looked at again."""
    deck = ask.deck()
    library = ask.library
    visits = queries.visits(library, deck)
    words: dict[str, Any] = {"found": None, "visits": visits, "photos": {}}
    if len(visits) > 1:
        first, second = (check_visit(ask.query.get(name) or None) for name in ("first", "second"))
        words["found"] = compare(library, deck, first, second)
        words["photos"] = {photo.sha: photo for photo in queries.photos(library, deck)}
    return ask.site.show("compare.html", ask, here="compare", deck_name=deck, **words)


def closing(ask: RequestContext) -> Response:
    """Show one concern with its photo before the repair beside the photos that could show it after."""
    deck = ask.deck()
    one = ask.site.standing(ask.name).of(deck)
    concern = next(
        (
            row
            for row in one.concerns
            if row.is_open
            and row.rule == ask.query.get("rule")
            and (row.place or "") == ask.query.get("place", "")
        ),
        None,
    )
    if concern is None:
        raise BadInput("This concern is not open on this deck.", "Choose one from the deck's summary.")
    photos = queries.photos(ask.library, deck)
    shown = {photo.sha: photo for photo in photos}
    before = [shown[sha] for sha in concern.photos if sha in shown]
    before += [photo for photo in photos if photo not in before]
    of_concern, chosen = len(concern.photos), before[0] if before else None
    after, why = _after(photos, chosen), {}
    if ask.query.get("likely"):
        chosen = _one_of(photos, ask.query["likely"])
        found = propose_places(ask.library, deck, chosen, limit=len(photos))
        why = {one.photo.sha: one.why for one in found}
        ranked = [one.photo for one in found]
        after = ranked + [photo for photo in _after(photos, chosen) if photo.sha not in why]
    return ask.site.show(
        "closing.html",
        ask,
        here="summary",
        deck_name=deck,
        concern=concern,
        before=before,
        after=after,
        why=why,
        chosen=chosen,
        of_concern=of_concern,
    )


def _one_of(photos: list[Photo], sha: str) -> Photo:
    for photo in photos:
        if photo.sha == sha:
            return photo
    raise BadInput("This photo is not of this deck.", "Choose the photo before among the deck's own.")


def _after(photos: list[Photo], before: Photo | None) -> list[Photo]:
    """Return the photos that may be the later ones: the latest visit first, the photo before left out."""
    later = [photo for photo in photos if before is None or (photo.visit or "") >= (before.visit or "")]
    later.sort(key=lambda photo: photo.visit or "", reverse=True)
    return [photo for photo in later if before is None or photo.sha != before.sha]
