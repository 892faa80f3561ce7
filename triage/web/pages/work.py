"""Long work: training, suggesting, reports, checks of the library; following and stopping it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from datetime import datetime
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from triage.errors import BadInput
from triage.library import queries
from triage.report.text import count_of
from triage.web.jobs import Job, JobResult, close_cut_off, cut_off
from triage.web.pages import audit, giving
from triage.web.pages.reports import list_reports
from triage.web.request_context import RequestContext, back

_TICK_S = 0.25
_BEAT_TICKS = 40


def show(ask: RequestContext) -> Response:
    """Show the work that can be done now, what runs, what was done, and what was cut off."""
    library = ask.library
    from triage.library.counts import label_count

    written = list_reports(library)
    return ask.site.show(
        "work.html",
        ask,
        here="work",
        jobs=ask.site.jobs.last(ask.name),
        labels=label_count(library),
        photos=queries.photo_count(library),
        model=queries.model_in_use(library),
        broken=cut_off(library),
        reports=[row for row in written if row["page"]],
        packed=[row for row in written if not row["page"]],
    )


def start(ask: RequestContext) -> Response:
    """Start the work that a form asks for."""
    kind = ask.text("kind")
    if kind not in _WORK:
        raise BadInput("There is no such work.", "Choose one of the list.")
    words, work = _WORK[kind]
    made = work(ask)
    given = {name: values[-1] for name, values in ask.form.items()}
    ask.site.jobs.start(ask.name, ask.library, kind, words, made, by=ask.by, given=given)
    return back(ask.url(_PAGE_OF.get(kind, "work")))


def drop(ask: RequestContext) -> Response:
    """Take a job that was cut off from the list."""
    close_cut_off(ask.library, ask.text("job"))
    return back(ask.url("work"))


def stop(ask: RequestContext) -> Response:
    """Ask the running job to stop after the item it is at."""
    job = ask.site.jobs.running(ask.name)
    if job is None:
        return JSONResponse({"told": "Nothing runs any more."})
    job.stop()
    return JSONResponse({"told": f"Stopping: {job.words}. What is finished is kept."})


# ---- the kinds of work ------------------------------------------------------------------------------------


def _train(ask: RequestContext) -> Any:
    library, by, where = ask.library, ask.by, ask.url("model")

    def work(progress: Any, cancel: Any) -> JobResult:
        from triage.presort.of_library import presort_library
        from triage.train.of_library import train_library

        trained = train_library(library, by=by, progress=progress, cancel=cancel)
        made = [tag for tag, row in trained.tags.items() if row["average_precision"] is not None]
        few = [tag for tag in trained.tags if tag not in made]
        lines = [
            f"Trained {count_of(len(made), 'tag')} with figures; {len(few)} have too few labels for any."
        ]
        done = presort_library(library, by=by, progress=progress, cancel=cancel)
        lines.append(f"Suggestions made for {count_of(done.new, 'photo')}.")
        aside = [
            (sha[:12], reason) for sha, reason in {**dict(trained.set_aside), **dict(done.set_aside)}.items()
        ]
        return JobResult(lines, aside, where, "What the model can do")

    return work


def _presort(ask: RequestContext) -> Any:
    library, by, where = ask.library, ask.by, ask.url("queue")

    def work(progress: Any, cancel: Any) -> JobResult:
        from triage.presort.of_library import presort_library

        done = presort_library(library, by=by, progress=progress, cancel=cancel)
        lines = [f"Suggestions made for {count_of(done.new, 'photo')}."]
        for tag, standing in done.promise.items():
            if standing.standing == "withdrawn":
                lines.append(f"The promise for {tag} is withdrawn: {standing.why_not}.")
        return JobResult(lines, [(sha[:12], why) for sha, why in done.set_aside], where, "Review them")

    return work


def _report(ask: RequestContext) -> Any:
    library = ask.library
    options = {
        name: bool(ask.text(name))
        for name in ("pdf", "per_deck", "full", "letter", "show_position", "show_address", "show_names")
    }
    issue = _issue(ask) if ask.text("issue") else None
    name = f"report-{datetime.now().astimezone():%Y-%m-%d-%H%M%S}"
    where = ask.url(f"reports/{name}/report.html")
    paper = ask.text("paper") or "letter"

    def work(progress: Any, cancel: Any) -> JobResult:
        from triage.assess import assess_once
        from triage.report import is_draft, write_report
        from triage.report.ready import blocking

        progress("assessing", 0, None)
        assessed = assess_once(library)
        left = blocking(library, evidence=assessed.evidence)
        no_letters = options["letter"] and left and issue is None
        if no_letters:
            options["letter"] = False
        files = write_report(
            library,
            assessed,
            library.path / "reports" / name,
            issue=issue,
            paper=paper,
            progress=progress,
            cancel=cancel,
            **options,
        )
        lines = [f"{count_of(len(files), 'file')} written."]
        if no_letters:
            lines.append("No letter was written: not everything was looked at.")
        if is_draft(assessed.summaries):
            lines.append("DRAFT: not everything was looked at. What is left stands under 'Ready to issue'.")
        return JobResult(lines, [], where, "Open the report")

    return work


def _issue(ask: RequestContext) -> Any:
    from triage.report import Issue

    given = ask.take(
        signer=lambda: ask.need("signer", "Who signs"),
        scope=lambda: ask.need("scope", "What was asked for"),
        limits=lambda: ask.need("limits", "What could not be reached"),
        weather=lambda: ask.need("weather", "The weather"),
        amends=lambda: _amended(ask),
    )
    return Issue(**given)


def _amended(ask: RequestContext) -> str | None:
    """Return the number of the report that this one replaces. Raises BadInput for one that was not issued."""
    number = ask.text("amends")
    known = [str(one.payload["number"]) for one in queries.statements(ask.library, "issued")]
    if number and number not in known:
        raise BadInput(f"No report {number} was issued.", f"Issued: {', '.join(known) or 'none yet'}.")
    return number or None


def _verify(ask: RequestContext) -> Any:
    library = ask.library

    def work(progress: Any, _cancel: Any) -> JobResult:
        from triage.library.verify import verify

        found = verify(library, progress=progress)
        if not (found.damaged or found.missing):
            return JobResult(
                [f"{found.photos} photos and {found.events} events checked: all as they were recorded."]
            )
        faults = [("damaged", one) for one in found.damaged] + [("missing", one) for one in found.missing]
        return JobResult([f"{count_of(len(faults), 'fault')} found. Restore a backup."], faults)

    return work


def _backup(ask: RequestContext) -> Any:
    library = ask.library
    name = f"backup-{datetime.now().astimezone():%Y-%m-%d-%H%M%S}"
    where = ask.url(f"reports/{name}/{name}.zip")

    def work(progress: Any, _cancel: Any) -> JobResult:
        from triage.library.backup import backup

        folder = library.path / "reports" / name
        folder.mkdir(parents=True, exist_ok=True)
        count = backup(library, folder / f"{name}.zip", progress=progress)
        return JobResult(
            [f"{count_of(count, 'file')} packed: store it on another disk."], [], where, "Download it"
        )

    return work


_WORK = {
    "train": ("training and suggesting", _train),
    "presort": ("suggesting", _presort),
    "report": ("writing the report", _report),
    "verify": ("checking the library", _verify),
    "backup": ("packing a backup", _backup),
    **audit.WORK,
    **giving.WORK,
}
_PAGE_OF = dict.fromkeys(audit.WORK, "audit") | dict.fromkeys(giving.WORK, "files")


# ---- following ------------------------------------------------------------------------------------------


def events_route(path: str) -> Route:
    """Return the route that follows the running job by server-sent events."""

    async def endpoint(request: Request) -> Response:
        ask = RequestContext(
            request.app.state.site,
            request.scope["session"],
            str(request.path_params["lib"]),
            {},
            dict(request.query_params),
        )
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(_follow(request, ask), media_type="text/event-stream", headers=headers)

    return Route(path, endpoint, methods=["GET"])


async def _follow(request: Request, ask: RequestContext) -> AsyncIterator[str]:
    jobs = ask.site.jobs
    job: Job | None = jobs.running(ask.name) or jobs.find(ask.name, ask.query.get("job", ""))
    shown, quiet = -1, 0
    while job is not None and not jobs.stopping:
        if job.changed != shown:
            shown, quiet = job.changed, 0
            yield f"data: {json.dumps(job.to_json())}\n\n"
            if job.state != "running":
                break
        elif (quiet := quiet + 1) % _BEAT_TICKS == 0:
            yield ": still here\n\n"
        await asyncio.sleep(_TICK_S)
        if await request.is_disconnected():
            return
    yield "event: end\ndata: {}\n\n"
