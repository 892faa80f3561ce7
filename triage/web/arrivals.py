"""What came from a browser and is not settled: broken-off uploads, files left out, questions, open days.

Each upload leaves a row in the list of jobs, so that nothing of it is forgotten when the page is left or the
server ends. A row stays open until somebody has taken its files in, dropped them, or said "noted".
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from triage.library.job_rows import add_job, change_job, job_of, jobs_in
from triage.library.log import now
from triage.web.uploads import Upload

if TYPE_CHECKING:
    from triage.library import Library

KIND = "arrival"
SENDING, OPEN, CLOSED = "sending", "open", "closed"
_MOST = 2_000


def begin(
    library: Library, upload_id: str, *, by: str, planned: int, left_out: Sequence[Sequence[str]]
) -> None:
    """Note that so many files are about to come, and which the browser left out with the reason."""
    detail = {"by": by, "planned": planned, "left_out": _pairs(left_out), "questions": []}
    row = {"state": SENDING, "done": 0, "total": planned, "started_at": now(), "detail": detail}
    add_job(library, id=upload_id, kind=KIND, **row)


def settle(
    library: Library,
    upload_id: str,
    *,
    left_out: Sequence[Sequence[str]] = (),
    questions: Sequence[str] | None = None,
    closed: bool = False,
) -> None:
    """Note what came of an upload: more files left out, questions; it is closed where nothing is open."""
    row = job_of(library, upload_id, KIND)
    if row is None:
        return
    detail = dict(row["detail"])
    detail["left_out"] = (detail["left_out"] + _pairs(left_out))[:_MOST]
    if questions is not None:
        detail["questions"] = list(questions)
    is_open = not closed and bool(detail["left_out"] or detail["questions"])
    state = OPEN if is_open else CLOSED
    change_job(library, upload_id, KIND, state=state, detail=detail, ended_at=now())


def still_open(library: Library, taking: Sequence[str] = ()) -> list[dict[str, Any]]:
    """Return the uploads that wait for somebody, newest first; those in `taking` are being taken in now.

    Each has `upload`, `by`, `at`, `planned`, `arrived` (files that lie here and are not in the library),
    `left_out` as (name, reason) and `questions` as deck names.
    """
    found = []
    for row in reversed(jobs_in(library, (SENDING, OPEN), KIND)):
        upload = Upload(library, row["id"])
        detail = row["detail"]
        broke_off = row["state"] == SENDING and upload.files.is_dir() and row["id"] not in taking
        one = {
            "upload": row["id"],
            "by": detail["by"],
            "at": row["started_at"],
            "planned": detail["planned"],
            "arrived": upload.count() if broke_off else 0,
            "left_out": [tuple(pair) for pair in detail["left_out"]],
            "questions": detail["questions"] if upload.files.is_dir() else [],
        }
        if (one["arrived"] or one["left_out"] or one["questions"]) and row["id"] not in taking:
            found.append(one)
    return found


def undated(library: Library) -> dict[str, int]:
    """Return how many photos of each deck have no day of visit."""
    from triage.library.counts import undated_counts

    return undated_counts(library)


def _pairs(given: Sequence[Sequence[str]]) -> list[list[str]]:
    return [[str(name)[:300], str(reason)[:300]] for name, reason in given][:_MOST]
