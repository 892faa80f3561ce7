"""Long work started by the page: one job at a time in a library, followed and stopped from the browser.

A job is one call of a library function with progress and cancel. It leaves a row in the library, so that work
that was cut off (a killed server) is seen and can be started again: every step goes on where it was.
"""

from __future__ import annotations

import os
import secrets
import threading
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from triage.errors import NO_MEMORY, BadInput, Cancelled, TriageError, is_short_of_memory
from triage.library.job_rows import add_job, change_job, jobs_in
from triage.library.log import now
from triage.library.logs import log_error
from triage.platforms import process_is_alive
from triage.report.text import clean
from triage.web.wording import in_words, own_tags

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.library import Library

RUNNING, DONE, STOPPED, FAILED, CUT_OFF = "running", "done", "stopped", "failed", "cut off"
_KEPT = 20


@dataclass
class JobResult:
    """What a job has to say at its end: sentences, things set aside with reasons, and where to go next."""

    lines: list[str] = field(default_factory=list)
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    where: str = ""
    where_words: str = ""
    more: dict[str, Any] = field(default_factory=dict)


Work = Callable[["Progress", "Cancel"], JobResult]


class Job:
    """One piece of long work and how it stands."""

    def __init__(
        self, kind: str, words: str, by: str, given: Mapping[str, Any], own: Collection[str] = ()
    ) -> None:
        self.own = own
        """The library's own tags: they are written as words."""
        self.id = secrets.token_hex(8)
        self.kind, self.words, self.by, self.given = kind, words, by, dict(given)
        self.state = RUNNING
        self.what, self.done, self.total = "starting", 0, None
        self.told = JobResult()
        self.started_at, self.ended_at = now(), ""
        self.changed = 0
        self._stop = threading.Event()
        self.thread: threading.Thread | None = None

    what: str
    done: int
    total: int | None

    def progress(self, what: str, done: int, total: int | None) -> None:
        """Note how far the work is."""
        self.what, self.done, self.total = what or self.what, done, total
        self.changed += 1

    def cancel(self) -> bool:
        """Say whether somebody stopped the work."""
        return self._stop.is_set()

    def stop(self) -> None:
        """Ask the work to stop after the item it is at."""
        self._stop.set()
        self.changed += 1

    def to_json(self) -> dict[str, Any]:
        """Return the job as the browser follows it."""
        return {
            "id": self.id,
            "kind": self.kind,
            "words": self.words,
            "by": clean(self.by),
            "state": self.state,
            "what": clean(self.what),
            "done": self.done,
            "total": self.total,
            "stopping": self.cancel(),
            "lines": [in_words(clean(line), self.own) for line in self.told.lines],
            "where": self.told.where,
            "where_words": self.told.where_words,
            "set_aside": len(self.told.set_aside),
        }


class Jobs:
    """The jobs of all libraries of one page."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last: dict[str, list[Job]] = {}
        self.stopping = False

    def running(self, name: str) -> Job | None:
        """Return the job that runs in a library now, or null."""
        return next((job for job in self._last.get(name, []) if job.state == RUNNING), None)

    def last(self, name: str) -> list[Job]:
        """Return the jobs of a library since the page was started, newest first."""
        return list(self._last.get(name, []))

    def find(self, name: str, job_id: str) -> Job | None:
        """Return a job by its identifier, or null."""
        return next((job for job in self._last.get(name, []) if job.id == job_id), None)

    def start(
        self,
        name: str,
        library: Library,
        kind: str,
        words: str,
        work: Work,
        *,
        by: str,
        given: Mapping[str, Any] | None = None,
    ) -> Job:
        """Start a job in a thread of its own. Raises BadInput while another one runs in this library."""
        with self._lock:
            busy = self.running(name)
            if busy is not None:
                raise BadInput(f"The library is busy: {busy.words}.", "Wait until that is done, or stop it.")
            job = Job(kind, words, by, given or {}, own_tags(library))
            self._last[name] = [job, *self._last.get(name, [])][:_KEPT]
        _note(library, job, new=True)
        job.thread = threading.Thread(target=_run, args=(library, job, work), name=f"job-{kind}", daemon=True)
        job.thread.start()
        return job

    def stop_all(self, seconds: float = 10.0) -> None:
        """Stop everything and wait for it a while."""
        self.stopping = True
        everything = [job for jobs in self._last.values() for job in jobs if job.state == RUNNING]
        for job in everything:
            job.stop()
        for job in everything:
            if job.thread is not None:
                job.thread.join(seconds)


def _run(library: Library, job: Job, work: Work) -> None:
    try:
        job.told = work(job.progress, job.cancel)
        state = DONE
    except Cancelled as error:
        state, job.told = STOPPED, JobResult([str(error)])
    except TriageError as error:
        from triage.web.render import plain_hint

        state, job.told = FAILED, JobResult([f"{error} {plain_hint(error.hint)}".strip()])
    except OSError as error:
        state, job.told = FAILED, JobResult([f"{error.strerror or error}: what was finished is kept."])
    except Exception as error:  # a bug in our code must not leave the job marked as running
        entry = log_error(library.path, error, f"job {job.kind}")
        broke = f"The job failed unexpectedly ({type(error).__name__}: {error}); what was finished is kept."
        broke = NO_MEMORY if is_short_of_memory(error) else broke
        state, job.told = FAILED, JobResult([broke, f"Details are in logs/triage.log, entry {entry}."])
    job.ended_at = now()
    try:
        _note(library, job, state=state)
    except TriageError as error:
        job.told.lines.append(str(error))
    job.state = state
    job.changed += 1


def _note(library: Library, job: Job, *, new: bool = False, state: str = RUNNING) -> None:
    row: dict[str, Any] = {
        "state": state,
        "done": job.done,
        "total": job.total,
        "ended_at": job.ended_at or None,
        "detail": {
            "pid": os.getpid(),
            "words": job.words,
            "by": job.by,
            "given": job.given,
            "told": job.told.lines,
        },
    }
    if new:
        add_job(library, id=job.id, kind=job.kind, started_at=job.started_at, **row)
    else:
        change_job(library, job.id, **row)


def cut_off(library: Library) -> list[dict[str, Any]]:
    """Return the jobs of this library whose server is gone: each can be started again."""
    return [
        row for row in jobs_in(library, (RUNNING,)) if not process_is_alive(int(row["detail"].get("pid", 0)))
    ]


def close_cut_off(library: Library, job_id: str) -> None:
    """Note that a job that was cut off is done with: started again, or dropped."""
    change_job(library, job_id, state=CUT_OFF, ended_at=now())
