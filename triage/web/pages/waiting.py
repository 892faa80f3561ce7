"""Photos that wait for a deck: nobody and no card has said where they belong."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from starlette.responses import Response

from triage.ingest import check_visit
from triage.ingest.collect import clean_name
from triage.ingest.moving import move
from triage.ingest.questions import open_questions
from triage.library import queries
from triage.library.records import UNSORTED, Photo
from triage.report.text import count_of
from triage.web.pages.add import files_left_out
from triage.web.pages.say import chosen
from triage.web.request_context import RequestContext

_SHOWN = 300
"""Photos on one screen; the rest follows when these are moved."""


def show(ask: RequestContext) -> Response:
    """Show them in the order of the camera's time, phone by phone, each with the reason it was left open."""
    photos = queries.photos(ask.library, UNSORTED)
    shown = sorted(photos, key=_walk)[:_SHOWN]
    return ask.site.show(
        "waiting.html",
        ask,
        here="decks",
        waiting=len(photos),
        shown=len(shown),
        runs=_runs(shown),
        why=queries.reasons(ask.library, UNSORTED),
        decks=queries.decks(ask.library),
        questions=open_questions(ask.library),
        left_out=files_left_out(ask.library),
        back="waiting",
    )


def _walk(photo: Photo) -> tuple[str, str, str]:
    return photo.camera or "", photo.taken_at or "", photo.name


def _runs(photos: list[Photo]) -> list[dict[str, Any]]:
    """Return one run a phone and day."""
    runs = groupby(photos, key=lambda photo: (photo.camera, (photo.taken_at or "")[:10]))
    return [{"camera": camera, "day": day, "photos": list(some)} for (camera, day), some in runs]


def sort(ask: RequestContext) -> Response:
    """Move chosen photos to the deck that a person names; the reason is kept."""
    given = ask.take(
        to=lambda: clean_name(ask.need("to", "The deck's name")),
        visit=lambda: check_visit(ask.text("visit") or None),
    )
    target = given["to"]
    moved = move(
        ask.library,
        chosen(ask),
        target,
        by=ask.by,
        visit=given["visit"],
        why=ask.text("why") or None,
    )
    told = f"{count_of(len(moved), 'photo')} moved to {target}; Undo puts them back."
    return ask.done(ask.url("waiting" if queries.photos(ask.library, UNSORTED) else ""), told)
