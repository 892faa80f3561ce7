"""One photo: looking at it closely, answering, marking the place, undoing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from starlette.responses import JSONResponse, Response

from triage.domain.plurals import count_of
from triage.errors import BadInput
from triage.label.rows import give_labels
from triage.library import queries
from triage.library.records import Photo
from triage.web.items import describe, history_of, sibling, tags_json
from triage.web.queues import Wish
from triage.web.request_context import RequestContext, number, photo_of
from triage.web.settings import machine_word
from triage.web.told import others_said, took_back

_MOST_BOXES = 50
_MOST_COUNT = 1_000_000


def show(ask: RequestContext) -> Response:
    """Show a photo with its deck's other photos."""
    photo = ask.photo()
    tag = ask.query.get("tag", "")
    vocabulary = ask.library.vocabulary()
    return ask.site.show(
        "photo.html",
        ask,
        here="photo",
        deck_name=photo.deck,
        photo=photo,
        tag=tag if tag in vocabulary.tags else vocabulary.core[0],
        start={"item": whole_item(ask, photo, tag), "queue": None},
        tags=tags_json(vocabulary, ask.library),
        machine=machine_word(ask.library),
    )


def item(ask: RequestContext) -> Response:
    """Return one photo as data, for the script that is on its page already."""
    return JSONResponse(whole_item(ask, ask.photo(), ask.query.get("tag", "")))


def whole_item(ask: RequestContext, photo: Photo, tag: str = "") -> dict[str, Any]:
    """Return a photo as data, with its neighbors in time and its history."""
    found = describe(ask.name, ask.library, photo, ask.speaker, tag)
    siblings = queries.photos(ask.library, photo.deck)
    found["siblings"] = [sibling(ask.name, one) for one in siblings]
    found["history"] = history_of(ask.library, photo.sha)
    return found


def answer(ask: RequestContext) -> Response:
    """Take one answer: it is on the disk when this returns."""
    data = ask.data
    photo = photo_of(ask.library, data.get("photo"))
    by = ask.by
    standing = ask.site.standing(ask.name)
    before = standing.last(photo.deck)
    labels = give_labels(
        ask.library,
        [(photo, {text(data, "tag"): text(data, "value")})],
        by=by,
        boxes=boxes(data.get("boxes")),
        place=text(data, "place", 200) or None,
        count=count(data.get("count")),
        asked_by=text(data, "asked_by") or "taken",
        saw_machine=data.get("saw_machine") is True,
        note=text(data, "note") or None,
    )
    with ask.library.read() as connection:
        words = queries.words(connection, photo=photo.sha, tag=labels[0].tag)
    told = others_said(words.get((photo.sha, labels[0].tag)), labels[0])
    put_off = _give_way(ask, photo, data.get("run"), (labels[0].tag, labels[0].value))
    if put_off:
        photos = count_of(put_off, "photo comes", "photos come")
        told = f"{told} This deck is found: its other {photos} after the lists.".strip()
    saved = {"saved": labels[0].event[:12], "told": told, "deck": photo.deck, "known": before is not None}
    return JSONResponse({**saved, "put_off": put_off})


def _give_way(ask: RequestContext, photo: Photo, run: Any, answer: tuple[str, str]) -> int:
    """Let a deck that an answer of a run finds give way; returns how many photos moved, 0 outside a run."""
    if not isinstance(run, dict):
        return 0
    wish = Wish(ask.by, text(run, "order"), text(run, "deck"), text(run, "tag"))
    at = run.get("at")
    if not isinstance(at, int):
        raise BadInput("The place in the run is no whole number.", "Load the page again.")
    return ask.site.queues.give_way(ask.name, ask.library, wish, at, photo, answer)


def undo(ask: RequestContext) -> Response:
    """Take back this person's last act."""
    events = ask.library.undo(ask.by)
    photos = [event.payload["photo"] for event in events if event.kind == "label"]
    tags = [event.payload["tag"] for event in events if event.kind == "label"]
    decks = {event.payload["deck"] for event in events if event.payload.get("deck")}
    if photos:
        with ask.library.read() as connection:
            decks |= {photo.deck for photo in queries.photos_by_sha(connection, photos[:1])}
    return JSONResponse(
        {"told": took_back(events), "photos": photos, "tags": tags, "deck": next(iter(sorted(decks)), "")}
    )


def text(data: dict[str, Any], name: str, most: int = 2_000) -> str:
    """Return a text out of JSON, empty where it is not there. Raises BadInput for anything but a text."""
    value = data.get(name)
    if value is None:
        return ""
    if not isinstance(value, str) or len(value) > most:
        raise BadInput(f"{name} is no text of at most {most} characters.", "Load the page again.")
    return value.strip()


def boxes(given: Any) -> Sequence[Sequence[float]]:
    """Return boxes out of JSON. Raises BadInput unless each is four numbers."""
    if given is None:
        return ()
    if not isinstance(given, list) or len(given) > _MOST_BOXES:
        raise BadInput(f"At most {_MOST_BOXES} places can be marked on one photo.", "Take some away.")
    if any(not isinstance(box, list) or len(box) != 4 for box in given):
        raise BadInput("A box has four numbers.", "Load the page again.")
    return [[number(part) for part in box] for box in given]


def count(given: Any) -> int | None:
    """Return a count out of JSON, or null. Raises BadInput for anything but a whole number."""
    if given is None or given == "":
        return None
    value = number(given)
    if value != int(value) or not 0 <= value <= _MOST_COUNT:
        raise BadInput("A count is a whole number.", "Write how many there are, or leave it empty.")
    return int(value)
