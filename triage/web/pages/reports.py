"""Reports that were written here, and what is left before one may be issued."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.responses import FileResponse, Response

from triage.library import queries
from triage.report.ready import KINDS, Blocking, blocking
from triage.report.verify import made_from
from triage.web.guard import REPORT_POLICY
from triage.web.pages.ready import where_mended
from triage.web.request_context import NotThere, RequestContext

if TYPE_CHECKING:
    from triage.library import Library

FILE_KINDS = {
    ".html": "text/html; charset=utf-8",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
    ".pdf": "application/pdf",
    ".zip": "application/zip",
}
_READ_OF = 12
"""Reports of which the number is read; older ones show it when they are opened."""
_HEAD_BYTES = 400_000
"""So much of a report holds its head, which says what it was made from."""
_DECKS_NAMED = 6


def list_reports(library: Library) -> list[dict[str, Any]]:
    """Return the folders of reports and backups that the page wrote, newest first.

    Each has `name`, `files`, `page` (the report to open, empty for a backup) and `issued` (number, date and
    signer; null for a draft or a backup).
    """
    folder = library.path / "reports"
    if not folder.is_dir():
        return []
    issued = {str(one.payload["number"]): one for one in queries.statements(library, "issued")}
    found: list[dict[str, Any]] = []
    for one in sorted(folder.iterdir(), key=lambda each: _when(each.name), reverse=True):
        if not one.is_dir() or one.is_symlink() or one.name.startswith("."):
            continue
        files = sorted(file.name for file in one.iterdir() if file.suffix in FILE_KINDS)
        page = next(
            (name for name in ("report.html", *files) if name in files and name.endswith(".html")), ""
        )
        event = issued.get(_number(one / page)) if page and len(found) < _READ_OF else None
        stamp = event and {"number": event.payload["number"], "date": event.payload["date"], "by": event.by}
        found.append({"name": one.name, "files": files, "page": page, "issued": stamp})
    return found


def _when(name: str) -> str:
    """Return the day and time that a folder's name ends with, after its kind."""
    return name.partition("-")[2] or name


def _number(page: Path) -> str:
    """Return the number that a report's page says it was issued with; empty for a draft."""
    try:
        with page.open("rb") as file:
            said = made_from(file.read(_HEAD_BYTES))
    except OSError:
        return ""
    return str((said or {}).get("number") or "")


def file(ask: RequestContext) -> Response:
    """Send a file of a report: pages to be read, with the viewer as only script; the rest to be saved."""
    for row in list_reports(ask.library):
        if row["name"] == ask.path["folder"] and ask.path["file"] in row["files"]:
            path: Path = ask.library.path / "reports" / row["name"] / ask.path["file"]
            if path.is_symlink():
                break
            kind = FILE_KINDS[path.suffix]
            if path.suffix == ".html":
                return FileResponse(path, media_type=kind, headers={"content-security-policy": REPORT_POLICY})
            return FileResponse(path, media_type=kind, filename=path.name)
    raise NotThere("There is no such file.", "Look at the list of reports.")


def ready(ask: RequestContext) -> Response:
    """Return the checklist: what is left before a report of all decks may be issued, each with its page."""
    standing = ask.site.standing(ask.name)
    head = ask.library.head()
    if standing.left is None or standing.left[0] != head:
        standing.left = (head, blocking(ask.library))
    left = standing.left[1]
    rows = [
        _row(ask, kind, words, [one for one in left if one.kind == kind]) for kind, words in KINDS.items()
    ]
    return ask.site.show("ready_list.html", ask, rows=rows, left=len(left))


def _row(ask: RequestContext, kind: str, words: str, left: list[Blocking]) -> dict[str, Any]:
    by_deck = Counter(one.deck or "" for one in left)
    first = {one.deck or "": one for one in reversed(left)}
    named = [
        {"deck": deck, "count": count, "where": where_mended(ask, first[deck])}
        for deck, count in by_deck.most_common(_DECKS_NAMED)
    ]
    return {
        "kind": kind,
        "words": words[:1].upper() + words[1:],
        "count": len(left),
        "decks": named,
        "more": len(by_deck) - len(named),
        "detail": left[0].detail if left else "",
    }
