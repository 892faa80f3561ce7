"""The register on the page: who decided what and when, and each labeler's record."""

from __future__ import annotations

from pathlib import Path

from starlette.responses import Response

from triage.audit.labelers import records
from triage.audit.register import head_code, register
from triage.audit.register_files import RECORD_HEADS, record_cells, to_csv, to_html
from triage.errors import BadInput
from triage.web.pages.files import sent
from triage.web.request_context import RequestContext

_MOST_SHOWN = 500


def show(ask: RequestContext) -> Response:
    """Show the register, the newest entry first; names and reasons only where they are asked for."""
    named = ask.query.get("names") == "1"
    entries = register(ask.library, show_names=named)
    return ask.site.show(
        "register.html",
        ask,
        here="audit",
        named=named,
        entries=entries[::-1][:_MOST_SHOWN],
        count=len(entries),
        code=head_code(ask.library),
        heads=RECORD_HEADS,
        people=[record_cells(one) for one in records(ask.library, show_names=named)],
    )


def give(ask: RequestContext) -> Response:
    """Send the register as a file."""
    named, name = ask.query.get("names") == "1", ask.path["file"]
    if name not in ("register.csv", "register.html"):
        raise BadInput("There is no such file.", "Choose one of the page.")
    entries = register(ask.library, show_names=named)

    def write(path: Path) -> None:
        if path.suffix == ".csv":
            text = to_csv(entries)
        else:
            text = to_html(entries, records(ask.library, show_names=named), head_code(ask.library))
        path.write_text(text, encoding="utf-8")

    return sent(name, write)
