"""How far the words can be relied on: agreement, doubtful labels, samples to look at, missed defects.

Each is one call of the audit's functions as a job; what it found stays on the page until it is closed.
"""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from triage.errors import BadInput
from triage.library import queries
from triage.library.counts import disputed_pairs
from triage.presort.withdrawals import lift_withdrawal, withdrawals
from triage.report.text import count_of
from triage.web.jobs import DONE, JobResult
from triage.web.request_context import RequestContext

_MOST_SHOWN = 100
FOUND = "found"
KINDS = ("agree", "doubts", "sample", "missed")


def show(ask: RequestContext) -> Response:
    """Show the four questions with what was found last."""
    found: dict[str, Any] = dict.fromkeys(KINDS)
    for job in ask.site.jobs.last(ask.name):
        if job.kind in KINDS and job.state == DONE and found[job.kind] is None:
            found[job.kind] = {**job.told.more[FOUND], "at": job.started_at, "given": job.given}
    names = {photo.sha: photo for photo in queries.photos(ask.library)} if any(found.values()) else {}
    return ask.site.show(
        "audit.html",
        ask,
        here="audit",
        found=found,
        names=names,
        most=_MOST_SHOWN,
        disputes=len(disputed_pairs(ask.library)),
        vocabulary=ask.library.vocabulary(),
        decks=len(queries.decks(ask.library)),
        model=queries.model_in_use(ask.library),
        withdrawn=withdrawals(ask.library),
    )


def lift(ask: RequestContext) -> Response:
    """Lift the withdrawal of a promise, with a reason that goes on record."""
    tag, why = ask.need("tag", "The tag"), ask.need("why", "The reason")
    lift_withdrawal(ask.library, tag, why=why, by=ask.by)
    words = f"The withdrawal on {tag.replace('-', ' ')} is lifted. Sort the photos again to use it."
    return ask.done(ask.url("audit"), words)


def _tags(ask: RequestContext) -> list[str] | None:
    return [ask.text("tag")] if ask.text("tag") else None


def _share(ask: RequestContext, name: str, otherwise: float) -> float:
    """Return a percentage of a form as a fraction. Raises BadInput for what is none."""
    said = ask.text(name, 20).replace(",", ".").rstrip("% ")
    if not said:
        return otherwise
    try:
        return float(said) / 100
    except ValueError as error:
        raise BadInput(f"{said!r} is no percentage.", "Write a number, for example 95.") from error


def _whole(ask: RequestContext, name: str) -> int | None:
    said = ask.text(name, 20)
    if not said:
        return None
    if not said.isdigit() or int(said) < 1:
        raise BadInput(f"{said!r} is no number of photos.", "Write a whole number, or leave it empty.")
    return int(said)


def agree(ask: RequestContext) -> Any:
    """Return the work that finds how far people agree."""
    library, tags, where = ask.library, _tags(ask), ask.url("audit")

    def work(progress: Any, _cancel: Any) -> JobResult:
        from triage.audit import agree as agree_of

        progress("agreement", 0, None)
        rows = [{"tag": tag, **row.to_json()} for tag, row in agree_of(library, tags).items()]
        return _told(where, {"rows": rows}, f"Agreement on {count_of(len(rows), 'row')}.")

    return work


def doubts(ask: RequestContext) -> Any:
    """Return the work that finds the labels that all other decks speak against."""
    library, tags, where = ask.library, _tags(ask), ask.url("audit")

    def work(progress: Any, cancel: Any) -> JobResult:
        from triage.audit import doubts as doubts_of
        from triage.features.keep import embed_photos

        embed_photos(
            library, [photo.sha for photo in queries.photos(library)], progress=progress, cancel=cancel
        )
        done = doubts_of(library, tags, most=_MOST_SHOWN, progress=progress, cancel=cancel)
        rows = [one.to_json() for one in done.ranked]
        lines = f"{count_of(done.compared, 'label')} compared; {len(rows)} to look at again."
        return _told(where, {"rows": rows, "without": dict(done.without), "compared": done.compared}, lines)

    return work


def sample(ask: RequestContext) -> Any:
    """Return the work that draws a sample of photos or decks."""
    library, where = ask.library, ask.url("audit")
    shares = ask.take(
        confidence=lambda: _share(ask, "confidence", 0.95),
        margin=lambda: _share(ask, "margin", 0.05),
        least_share=lambda: _share(ask, "least_share", 0.0),
        good=lambda: _share(ask, "good", 0.01),
        bad=lambda: _share(ask, "bad", 0.05),
    )
    good, bad = shares.pop("good"), shares.pop("bad")
    options: dict[str, Any] = {
        **shares,
        "seed": ask.text("seed", 100) or None,
        "by": ask.text("by_what") or "simple",
        "stratum": ask.text("stratum") or "deck",
        "tag": ask.text("tag") or None,
        "rates": (good, bad) if ask.text("good") or ask.text("bad") else None,
    }

    def work(_progress: Any, _cancel: Any) -> JobResult:
        from triage.audit import sample as draw
        from triage.audit.sizes import LAWS, LOCAL_LAW

        done = draw(library, **options)
        said = done.to_json({photo.sha: photo for photo in queries.photos(library)})
        laws = [f"{law} asks for {asks}." for law, asks in LAWS] + [LOCAL_LAW]
        unit = "deck" if options["by"] == "deck" else "photo"
        words = f"At least {count_of(done.n, unit)} of {done.population}; seed {done.seed}."
        return _told(where, {**said, "words": words, "laws": laws}, words)

    return work


def missed_options(form: dict[str, str]) -> dict[str, Any]:
    """Return how an audit of missed defects is asked, out of the fields that were sent for it."""
    return {
        "n": int(form["n"]) if form.get("n") else None,
        "seed": form.get("seed") or None,
        "tags": [form["tag"]] if form.get("tag") else None,
        "early": bool(form.get("early")),
        "strata": bool(form.get("strata")),
    }


def missed(ask: RequestContext) -> Any:
    """Return the work that states what the machine let through, as far as the drawn photos are labeled."""
    confidence = ask.take(n=lambda: _whole(ask, "n"), confidence=lambda: _confidence(ask))["confidence"]
    library, by, where = ask.library, ask.by, ask.url("audit")
    options = missed_options({name: values[-1].strip() for name, values in ask.form.items()})
    queues, name = ask.site.queues, ask.name

    def work(progress: Any, cancel: Any) -> JobResult:
        from triage.audit import missed as missed_of
        from triage.audit.draw import new_seed

        asked = {**options, "seed": options["seed"] or new_seed(), "confidence": confidence}
        done = missed_of(library, by=by, progress=progress, cancel=cancel, **asked)
        queues.audits[name] = asked
        rows = [{"tag": tag, **one.to_json()} for tag, one in done.items()]
        left = sum(len(row["asked"]) for row in rows)
        told = {"rows": rows, "seed": asked["seed"], "left": left}
        return _told(where, told, f"{count_of(left, 'question')} to answer first." if left else "Done.")

    return work


def _confidence(ask: RequestContext) -> float:
    confidence = _share(ask, "confidence", 0.95)
    if not 0.5 <= confidence < 1:
        raise BadInput("The confidence lies between 50 and 100 percent.", "Usual is 95.")
    return confidence


def _told(where: str, found: dict[str, Any], line: str) -> JobResult:
    return JobResult([line], [], where, "What was found", {FOUND: found})


def sheet(ask: RequestContext) -> Response:
    """Send what the audit still wants answered as a sheet to fill in."""
    from triage.audit import missed as missed_of
    from triage.audit.asking import open_questions, write_sheet
    from triage.web.pages.files import sent

    asked = ask.site.queues.audits.get(ask.name)
    if asked is None:
        raise BadInput("No audit was started since the page was opened.", "Start it first.")
    found = missed_of(ask.library, record=False, **asked)
    return sent("audit.csv", lambda path: write_sheet(path, open_questions(ask.library, found)))


WORK = {
    "agree": ("comparing people's words", agree),
    "doubts": ("looking for doubtful labels", doubts),
    "sample": ("drawing a sample", sample),
    "missed": ("auditing missed defects", missed),
}
