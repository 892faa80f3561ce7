"""Adding photos: files stream in from the browser, then one job takes them into the library."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from triage.errors import BadInput, TriageError
from triage.ingest import IngestResult, check_visit, ingest
from triage.ingest.moving import move
from triage.ingest.questions import LeftOut, answer, dealt_with, left_out, open_questions
from triage.library import Library, queries
from triage.report.text import count_of
from triage.web import arrivals
from triage.web.bodies import chunks
from triage.web.jobs import Job, JobResult, close_cut_off, cut_off
from triage.web.pages.home import own_address
from triage.web.pages.photo import text
from triage.web.request_context import RequestContext, back, number, refused
from triage.web.uploads import MAX_FILES, MAX_UPLOAD_BYTES, Upload

KIND = "add photos"


def show(ask: RequestContext) -> Response:
    """Show where files are dropped, what came of the last ones, and what was cut off."""
    library = ask.library
    last = next((job for job in ask.site.jobs.last(ask.name) if job.kind == KIND), None)
    broken = [row for row in cut_off(library) if row["kind"] == KIND]
    taking = [job.given["upload"] for job in ask.site.jobs.last(ask.name) if _takes(job)]
    return ask.site.show(
        "add.html",
        ask,
        here="add",
        last=last,
        broken=broken,
        decks=queries.decks(library),
        arrivals=arrivals.still_open(
            library, [*taking, *(row["detail"]["given"]["upload"] for row in broken)]
        ),
        undated=arrivals.undated(library),
        questions=open_questions(library),
        left_out=files_left_out(library),
        back="add",
    )


def _takes(job: Job) -> bool:
    return job.kind == KIND and job.state == "running" and "upload" in job.given


def files_left_out(library: Library) -> list[LeftOut]:
    """Return the files that were set aside, with reasons that name no option of the command."""
    return [replace(one, reason=_plain(one.reason)) for one in left_out(library)]


def begin(ask: RequestContext) -> Response:
    """Make room for an upload."""
    if not ask.by:
        raise BadInput("Nobody is named as the speaker.")
    upload = Upload.begin(ask.library)
    planned = int(number(ask.data.get("planned", 0)))
    arrivals.begin(
        ask.library, upload.id, by=ask.by, planned=planned, left_out=_left_out(ask.data.get("left_out"))
    )
    return JSONResponse({"upload": upload.id, "most_files": MAX_FILES})


def _left_out(given: Any) -> list[list[str]]:
    """Return (name, reason) pairs out of JSON. Raises BadInput for anything else."""
    if given is None:
        return []
    if not isinstance(given, list) or any(
        not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(one, str) for one in pair)
        for pair in given
    ):
        raise BadInput("A file left out has a name and a reason.", "Load the page again.")
    return given


def file_route(path: str, kind: type[Upload] = Upload) -> Route:
    """Return the route that takes one file of an upload as the bare body of a request, to the disk."""

    async def endpoint(request: Request) -> Response:
        ask = RequestContext(
            request.app.state.site,
            request.scope["session"],
            str(request.path_params["lib"]),
            {"upload": str(request.path_params["upload"])},
            dict(request.query_params),
            wants_json=True,
        )
        try:
            upload = kind.find(ask.library, ask.path["upload"])
            name = ask.query.get("name", "")
            size = await upload.take(name, chunks(request, upload.most(upload.place(name))))
            return JSONResponse({"bytes": size})
        except TriageError as error:
            return refused(ask, error)
        except OSError as error:
            return refused(ask, TriageError(f"{error.strerror or error}.", "Free some space and try again."))

    return Route(path, endpoint, methods=["POST"])


def take_in(ask: RequestContext) -> Response:
    """Start the job that takes an upload into the library."""
    upload = Upload.find(ask.library, text(ask.data, "upload"))
    more_left_out = _left_out(ask.data.get("left_out"))
    deck = text(ask.data, "deck", 200)
    visit = text(ask.data, "visit", 20)
    check_visit(visit or None)
    if not upload.count():
        upload.drop()
        raise BadInput("No photo came.", "Choose a folder, a zip or photos.")
    if sum(one.stat().st_size for one in upload.files.rglob("*") if one.is_file()) > MAX_UPLOAD_BYTES:
        raise BadInput("That is more than one upload may hold.", "Send it in smaller parts.")
    by_cards = ask.data.get("by_cards") is True
    if by_cards and deck:
        raise BadInput("The cards name the decks.", "Leave the deck's name empty, or untick the cards.")
    job = start(ask, upload, deck, visit, by_cards=by_cards)
    arrivals.settle(ask.library, upload.id, left_out=more_left_out)
    return JSONResponse({"job": job.id})


def start(ask: RequestContext, upload: Upload, deck: str, visit: str, *, by_cards: bool = False) -> Job:
    """Start taking an upload in, as its folders say or sorted by the cards in it."""
    library, by = ask.library, ask.by
    given = {
        "upload": upload.id,
        "deck": deck,
        "visit": visit,
        "cards": "yes" if by_cards else "",
    }
    where = ask.url("add")
    return ask.site.jobs.start(
        ask.name,
        library,
        KIND,
        f"taking in {count_of(upload.count(), 'file')}",
        lambda progress, cancel: _take(library, upload, by, given, where, progress, cancel),
        by=by,
        given=given,
    )


def _take(
    library: Library, upload: Upload, by: str, given: dict[str, str], where: str, progress: Any, cancel: Any
) -> JobResult:
    result = _ingested(library, upload.offered(), by, given, progress, cancel)
    data = result.to_json()
    lines = [
        f"{count_of(data['added'], 'photo')} taken in, {data['known']} known before, "
        f"{count_of(len(result.set_aside), 'file')} set aside."
    ]
    if data["proposed"]:
        made = ", ".join(data["proposed"][:12])
        lines.append(f"Time and place made {count_of(len(data['proposed']), 'deck')}: {made}.")
    for deck, others in list(result.look_alikes.items())[:10]:
        lines.append(
            f"Photos of {deck} look the same as some of {', '.join(others)}: these decks count as one in "
            "every figure. If it is one deck, move the photos of one to the other."
        )
    if result.questions:
        lines.append(f"{count_of(data['waiting'], 'photo')} wait for your answer below.")
    if result.undated:
        lines.append(f"No single camera date at {', '.join(result.undated[:10])}: their visit stays open.")
    root = f"{upload.files}/"
    aside = [(one.file.removeprefix(root), _plain(one.reason.replace(root, ""))) for one in result.set_aside]
    arrivals.settle(library, upload.id)
    upload.drop()
    return JobResult(lines, aside, where, "What came of it")


def _ingested(
    library: Library, paths: list[Path], by: str, given: dict[str, str], progress: Any, cancel: Any
) -> IngestResult:
    visit = given["visit"] or None
    if given.get("cards"):
        from triage.ingest.by_slate import ingest_by_slate

        return ingest_by_slate(library, paths, by=by, visit=visit, progress=progress, cancel=cancel)
    return ingest(
        library, paths, by=by, deck=given["deck"] or None, visit=visit, progress=progress, cancel=cancel
    )


def _plain(reason: str) -> str:
    """Return a reason without the options of the command."""
    return re.sub(r"[;:,.]? ?[Ss]ay --.*$", "", reason)


def settle_question(ask: RequestContext) -> Response:
    """Answer a question about photos that wait for a deck; it stays until somebody does."""
    question, how = ask.need("question", "The question"), ask.text("how")
    if how == "proposed":
        deck = None
    elif how == "same":
        deck = ask.need("beside", "The deck")
    elif how == "other":
        deck = ask.take(name=lambda: ask.need("name", "The deck's name"))["name"]
    else:
        raise BadInput("Nothing was chosen.", "Choose one of the answers.")
    visit = check_visit(ask.text("visit") or None)
    moved = answer(ask.library, [question], by=ask.by, deck=deck, visit=visit)
    decks = ", ".join(sorted({where for _, where in moved}))
    return _settled(ask, f"{count_of(len(moved), 'photo')} placed at {decks}; Undo puts them back.")


def settle_clear(ask: RequestContext) -> Response:
    """Answer all questions as proposed whose answer is clear; the doubtful ones stay."""
    clear = [one.id for one in open_questions(ask.library) if one.is_clear]
    moved = answer(ask.library, clear, by=ask.by) if clear else []
    return _settled(ask, f"{count_of(len(moved), 'photo')} placed; Undo puts them back.")


def strike(ask: RequestContext) -> Response:
    """Take files that were set aside off the list: somebody has dealt with them."""
    files = [one for part in ask.form.get("file", []) for one in part.split(",") if one]
    done = dealt_with(ask.library, files or [one.id for one in left_out(ask.library)], by=ask.by)
    return _settled(ask, f"{count_of(len(done), 'file')} taken off the list.")


def _settled(ask: RequestContext, told: str) -> Response:
    back_to = ask.text("back")
    return ask.done(ask.url(back_to if back_to in ("waiting", "timeline") else "add"), told)


def arrived(ask: RequestContext) -> Response:
    """Settle an upload that broke off or left files out: take in what arrived, drop it, or note it."""
    upload = Upload(ask.library, ask.text("upload"))
    how = ask.text("how")
    if how == "take":
        upload = Upload.find(ask.library, upload.id)
        deck = ask.text("deck", 200)
        start(ask, upload, deck, ask.text("visit"))
        arrivals.settle(ask.library, upload.id)
    elif how in ("drop", "noted"):
        _ = ask.by
        if how == "drop":
            upload.drop()
        arrivals.settle(ask.library, upload.id, closed=True)
    else:
        raise BadInput("Nothing was chosen.", "Choose one of the answers.")
    return back(ask.url("add"))


def visit_day(ask: RequestContext) -> Response:
    """Set the day of the photos of a deck that have none: one act."""
    deck = ask.deck()
    day = ask.take(visit=lambda: check_visit(ask.need("visit", "The day of the visit")))["visit"]
    photos = [photo for photo in queries.photos(ask.library, deck) if photo.visit is None]
    if not photos:
        raise BadInput("Every photo of this deck has its day.", "Load the page again.")
    move(ask.library, photos, deck, by=ask.by, visit=day)
    return ask.done(
        own_address(ask.text("next") or ask.url("add")),
        f"{count_of(len(photos), 'photo')} of {deck}: visit of {day}.",
    )


def again(ask: RequestContext) -> Response:
    """Go on with an upload that was cut off, or drop it."""
    row = next((one for one in cut_off(ask.library) if one["id"] == ask.text("job")), None)
    if row is None:
        raise BadInput("That work is not waiting any more.", "Look at the list again.")
    given = row["detail"]["given"]
    upload = Upload.find(ask.library, given["upload"])
    close_cut_off(ask.library, row["id"])
    if ask.text("how") == "drop":
        upload.drop()
    else:
        cards = bool(given.get("cards"))
        start(ask, upload, given["deck"], given["visit"], by_cards=cards)
    return back(ask.url("add"))
