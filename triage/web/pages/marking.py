"""Two things drawn on one photo: a length beside a card, and what reports paint black."""

from __future__ import annotations

from typing import Any

from starlette.responses import JSONResponse, Response

from triage.errors import BadInput
from triage.imaging.blackout import blackouts
from triage.library.records import Photo
from triage.report.blackout import black_out
from triage.report.text import clean, count_of
from triage.structure.facts import FACT_KEYS
from triage.web.items import boxes as as_lists
from triage.web.pages.photo import boxes, text
from triage.web.request_context import RequestContext, number

_MOST_POINTS = 20


def _show(ask: RequestContext, template: str, start: dict[str, Any], **words: Any) -> Response:
    photo = ask.photo()
    given = {
        "sha": photo.sha,
        "name": clean(photo.name),
        "width": photo.width,
        "height": photo.height,
        "picture": ask.url(f"picture/{photo.sha}"),
        "full": ask.url(f"full/{photo.sha}"),
    } | start
    return ask.site.show(template, ask, here="photo", deck_name=photo.deck, photo=photo, start=given, **words)


# ---- lengths ----------------------------------------------------------------------------------------------


def measuring(ask: RequestContext) -> Response:
    """Show a photo to click points on."""
    keys = [key for key in FACT_KEYS.values() if key.key.endswith(("_in", "_ft"))]
    return _show(ask, "measuring.html", {}, keys=keys)


def measure(ask: RequestContext) -> Response:
    """Return the lengths from each point to the next, and keep them as a fact where one is named.

    Without points it only says whether a card is found; without a card the reason comes back as the error.
    """
    from triage.slate.measure import lengths
    from triage.structure.telling import set_facts

    photo = ask.photo()
    points, key = _points(ask.data.get("points")), text(ask.data, "fact", 100)
    found = plane_of(ask, photo)
    told = lengths(found, points) if points else []
    kept: dict[str, Any] = {}
    if key:
        from triage.slate.facts import keep_length

        kept = set_facts(
            ask.library,
            photo.deck,
            {key: keep_length(key, told)},
            by=ask.by,
            visit=photo.visit,
            photos=[photo],
        )
    words = [f"{one.inches:.2f} in (95 %: {one.low:.2f} to {one.high:.2f})" for one in told]
    said = "".join(f"Kept for deck {clean(photo.deck)}: {name} = {value}." for name, value in kept.items())
    return JSONResponse({"lengths": words, "remarks": list(found.remarks), "told": said})


def plane_of(ask: RequestContext, photo: Photo) -> Any:
    """Return the card's plane in a photo; the last few are kept: a further click is answered at once."""
    from triage.slate.of_library import measurable_photo

    ruler = ask.data.get("ruler_in")
    key = (ask.name, photo.sha, photo.deck, number(ruler) if ruler is not None else None)
    kept = ask.site.planes
    if key not in kept:
        while len(kept) >= 8:
            kept.pop(next(iter(kept)))
        kept[key] = measurable_photo(ask.library, photo, key[3])[0]
    return kept[key]


def _points(given: Any) -> list[tuple[float, float]]:
    if given is None:
        return []
    if not isinstance(given, list) or len(given) > _MOST_POINTS:
        raise BadInput(f"At most {_MOST_POINTS} points can be measured at once.", "Take some away.")
    if any(not isinstance(point, list) or len(point) != 2 for point in given):
        raise BadInput("A point has two numbers.", "Load the page again.")
    return [(number(x), number(y)) for x, y in given]


# ---- blackouts --------------------------------------------------------------------------------------------


def blacking(ask: RequestContext) -> Response:
    """Show a photo to draw boxes on."""
    photo = ask.photo()
    now = as_lists(blackouts(ask.library).get(photo.sha, ()))
    return _show(ask, "blacking.html", {"boxes": now})


def black(ask: RequestContext) -> Response:
    """Store which boxes reports paint black; they replace those of before."""
    photo = ask.photo()
    kept = black_out(ask.library, photo.sha, boxes(ask.data.get("boxes")), by=ask.by)
    told = (
        f"{count_of(len(kept), 'box', 'boxes')} will be black in reports."
        if kept
        else "Reports show the whole photo."
    )
    return JSONResponse({"told": told})
