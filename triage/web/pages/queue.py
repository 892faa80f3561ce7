"""One question after the other: dangerous and doubtful first, or as somebody likes."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from starlette.responses import JSONResponse, Response

from triage.errors import BadInput, TriageError
from triage.label.order import Question
from triage.library import queries
from triage.library.records import AUDIT
from triage.web.items import tags_json
from triage.web.pages.photo import whole_item
from triage.web.queues import SECOND, WAYS, Wish
from triage.web.request_context import NotThere, RequestContext, photo_of
from triage.web.settings import machine_word

WORDS = {
    "dangerous": "dangerous tags first, in turn with the decks",
    "doubtful": "what the machine is least sure of first",
    "learning": "what would teach the model most first",
    "deck": "deck by deck, along the load path",
    "taken": "by the camera's time",
    "places": "your own 'yes' that has no place marked yet",
    "audit": "the photos that the audit of missed defects drew",
    "second-look": "a second look at what others labeled, without their words",
}


def show(ask: RequestContext) -> Response:
    """Start a run of questions and show the first."""
    wish = _wish(ask)
    vocabulary = ask.library.vocabulary()
    chosen: dict[str, Any] = {
        "here": "queue",
        "wish": wish,
        "ways": [(way, WORDS[way]) for way in WAYS],
        "decks": queries.decks(ask.library),
        "reason": "",
    }
    run: list[Question] = []
    try:
        run = ask.site.queues.start(ask.name, ask.library, wish)
    except TriageError as error:
        chosen["reason"] = str(error)
    if not run:
        trained = queries.model_in_use(ask.library) is not None
        return ask.site.show("queue_empty.html", ask, trained=trained, **chosen)
    start = _at(ask, wish, run, 0)
    return ask.site.show(
        "queue.html",
        ask,
        start=start,
        tags=tags_json(vocabulary, ask.library),
        machine=machine_word(ask.library),
        tag=run[0].tag,
        **chosen,
    )


def following(ask: RequestContext) -> Response:
    """Return one question of a run as data: at a place, or the one that was undone."""
    wish = _wish(ask)
    run = ask.site.queues.run(ask.name, ask.library, wish)
    if "photo" in ask.query:
        keys = [(one.photo.sha, one.tag) for one in run]
        key = (ask.query["photo"], ask.query.get("tag_of", ""))
        place = keys.index(key) if key in keys else 0
    else:
        place = int(ask.query["at"]) if ask.query.get("at", "").isdigit() else 0
    if not 0 <= place < len(run):
        raise NotThere("That was the last question.", "Start again from the list.")
    return JSONResponse(_at(ask, wish, run, place))


def _wish(ask: RequestContext) -> Wish:
    order = ask.query.get("order", "dangerous")
    if order not in WAYS:
        raise BadInput("There is no such order.", "Choose one of the list.")
    tag = ask.query.get("tag", "")
    if tag and tag not in ask.library.vocabulary().tags:
        raise BadInput("There is no such tag.", "Choose one of the list.")
    return Wish(ask.by, order, ask.query.get("deck", ""), tag)


def _at(ask: RequestContext, wish: Wish, run: list[Question], place: int) -> dict[str, Any]:
    one = run[place]
    photo = photo_of(ask.library, one.photo.sha)
    item = whole_item(ask, photo, tag=one.tag)
    blind = wish.order == SECOND or one.asked_by == "random"
    if blind:
        _blind(item)
    where = urlencode({"order": wish.order, "deck": wish.deck, "tag": wish.tag})
    return {
        "item": item,
        "queue": {
            "tag": one.tag,
            "asked_by": one.asked_by,
            "at": place,
            "total": len(run),
            "next": f"queue/next?{where}",
            "done": f"queue?{where}",
            "run": {"order": wish.order, "deck": wish.deck, "tag": wish.tag},
            "blind": blind,
            "machine": not blind and wish.order not in (AUDIT, "deck", "taken"),
        },
    }


def _blind(item: dict[str, Any]) -> None:
    """Take other people's words away where this person has not answered yet."""
    for question in item["questions"]:
        if question["mine"] is None:
            question.update(others=[], value=None, disputed=False, settled=False, machine=None, hidden=False)
    item["history"] = []
