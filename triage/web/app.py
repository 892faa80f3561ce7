"""The application: every address of the page in one list, behind one gate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from triage.web import examples
from triage.web.guard import Guard
from triage.web.pages import (
    add,
    audit,
    deck,
    decks,
    disputes,
    facts,
    files,
    home,
    look,
    marking,
    model,
    part_sheets,
    people,
    photo,
    pictures,
    queue,
    ready,
    register,
    repairs,
    reports,
    say,
    tags,
    timeline,
    visits,
    waiting,
    work,
)
from triage.web.render import KINDS, static_files
from triage.web.request_context import NotThere, route

if TYPE_CHECKING:
    from triage.web.guard import App
    from triage.web.request_context import RequestContext
    from triage.web.site import Site


def routes() -> list[Route]:
    """Return every address."""
    lib = "/l/{lib}"
    first = [
        Route("/static/{version}/{file}", static, methods=["GET"]),
        route("/", home.show),
        route("/who", home.who, posts=True),
        route("/new", home.new, posts=True),
        home.restore_route("/restore"),
        route("/invite", home.invite, posts=True),
        route("/stop", home.stop, posts=True),
    ]
    return [*first, *_of_decks(lib), *_of_photos(lib), *_of_library(lib)]


def _of_decks(lib: str) -> list[Route]:
    """Return the addresses of the list of decks and of one deck."""
    return [
        route(f"{lib}/", decks.show),
        route(f"{lib}/order", decks.order),
        route(f"{lib}/waiting", waiting.show),
        route(f"{lib}/waiting/sort", waiting.sort, posts=True),
        route(f"{lib}/timeline", timeline.show),
        route(f"{lib}/timeline/act", timeline.act, posts=True),
        route(f"{lib}/deck", deck.sheet),
        route(f"{lib}/deck/summary", deck.summary),
        route(f"{lib}/deck/history", deck.history),
        route(f"{lib}/parts", look.parts, posts=True, json=True),
        route(f"{lib}/parts/rest", look.rest, posts=True, json=True),
        route(f"{lib}/look", look.closely),
        route(f"{lib}/looked", look.looked, posts=True, json=True),
        route(f"{lib}/proposals", part_sheets.show),
        route(f"{lib}/proposals/confirm", part_sheets.confirm, posts=True, json=True),
        route(f"{lib}/standing", deck.standing, json=True),
        route(f"{lib}/deck/facts", facts.show),
        route(f"{lib}/deck/facts", facts.save, posts=True),
        route(f"{lib}/deck/compare", visits.side_by_side),
        route(f"{lib}/deck/closing", visits.closing),
        route(f"{lib}/deck/say", say.show),
        *[
            route(f"{lib}/deck/{act.__name__}", act, posts=True)
            for act in (say.finding, say.tier, say.private, say.warn, say.lift, say.close)
        ],
        route(f"{lib}/deck/undo", say.take_back, posts=True),
        route(f"{lib}/deck/move", say.move_photos, posts=True),
        route(f"{lib}/deck/forget", say.forget_photos, posts=True),
    ]


def _of_photos(lib: str) -> list[Route]:
    """Return the addresses of one photo, and of one question after the other."""
    return [
        route(f"{lib}/thumb/{{sha}}", pictures.thumb),
        route(f"{lib}/picture/{{sha}}", pictures.picture),
        route(f"{lib}/full/{{sha}}", pictures.full),
        route(f"{lib}/photo/{{sha}}", photo.show),
        route(f"{lib}/photo/{{sha}}/measure", marking.measuring),
        route(f"{lib}/photo/{{sha}}/measure", marking.measure, posts=True, json=True),
        route(f"{lib}/photo/{{sha}}/blackout", marking.blacking),
        route(f"{lib}/photo/{{sha}}/blackout", marking.black, posts=True, json=True),
        route(f"{lib}/item/{{sha}}", photo.item, json=True),
        route(f"{lib}/answer", photo.answer, posts=True, json=True),
        route(f"{lib}/queue", queue.show),
        route(f"{lib}/queue/next", queue.following, json=True),
        route(f"{lib}/undo", photo.undo, posts=True, json=True),
    ]


def _of_library(lib: str) -> list[Route]:
    """Return the addresses of what concerns a library as a whole: files in and out, model, audit, work."""
    return [
        route(f"{lib}/ready", ready.show),
        route(f"{lib}/repairs", repairs.show),
        route(f"{lib}/repairs/answer", repairs.answer, posts=True),
        route(f"{lib}/model", model.show),
        route(f"{lib}/next", model.following),
        route(f"{lib}/unlikely", model.unlikely),
        route(f"{lib}/disputes", disputes.show),
        route(f"{lib}/disputes/settle", disputes.end, posts=True),
        route(f"{lib}/people", people.decide, posts=True),
        route(f"{lib}/audit", audit.show),
        route(f"{lib}/audit/sheet", audit.sheet),
        route(f"{lib}/audit/lift", audit.lift, posts=True),
        route(f"{lib}/audit/register", register.show),
        route(f"{lib}/audit/register/{{file}}", register.give),
        route(f"{lib}/tags", tags.show),
        route(f"{lib}/tagpicture/{{tag}}/{{which}}", examples.picture),
        route(f"{lib}/tags/add", tags.add, posts=True),
        route(f"{lib}/tags/step", tags.step, posts=True),
        route(f"{lib}/files", files.show),
        route(f"{lib}/files/begin", files.begin, posts=True, json=True),
        add.file_route(f"{lib}/files/{{upload}}/file", files.Sheet),
        route(f"{lib}/files/take", files.take, posts=True, json=True),
        route(f"{lib}/files/{{kind}}", files.give),
        route(f"{lib}/add", add.show),
        route(f"{lib}/add/begin", add.begin, posts=True, json=True),
        add.file_route(f"{lib}/add/{{upload}}/file"),
        route(f"{lib}/add/take", add.take_in, posts=True, json=True),
        route(f"{lib}/add/settle", add.settle_question, posts=True),
        route(f"{lib}/add/clear", add.settle_clear, posts=True),
        route(f"{lib}/add/strike", add.strike, posts=True),
        route(f"{lib}/add/again", add.again, posts=True),
        route(f"{lib}/add/arrived", add.arrived, posts=True),
        route(f"{lib}/deck/visit-day", add.visit_day, posts=True),
        route(f"{lib}/work", work.show),
        route(f"{lib}/work/start", work.start, posts=True),
        route(f"{lib}/work/ready", reports.ready),
        route(f"{lib}/work/drop", work.drop, posts=True),
        route(f"{lib}/work/stop", work.stop, posts=True, json=True),
        work.events_route(f"{lib}/work/events"),
        route(f"{lib}/reports/{{folder}}/{{file}}", reports.file),
    ]


async def static(request: Request) -> Response:
    """Serve a style sheet or script out of the package, by its exact name.

    The version stands in the path, so that scripts that import each other are one and the same.
    """
    name = request.path_params["file"]
    data = static_files().get(name)
    if data is None:
        return PlainTextResponse("There is no such file.\n", status_code=404)
    headers = {"cache-control": "private, max-age=31536000, immutable"}
    return Response(data, media_type=KINDS[name.rsplit(".", 1)[-1]], headers=headers)


def _nothing(_ask: RequestContext) -> Response:
    raise NotThere("There is no page at this address.", "Go back to the list of decks.")


def build(site: Site) -> App:
    """Return the whole application for a site."""
    app = Starlette(routes=[*routes(), route("/{path:path}", _nothing)])
    app.state.site = site
    app.router.redirect_slashes = False
    return Guard(app, site.sessions, site.port)
