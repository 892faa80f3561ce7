"""Lists in and out: labels, facts, the crew's sheet, a firm's tags."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from starlette.responses import JSONResponse, Response

from triage.errors import BadInput, TriageError
from triage.library import Library, queries
from triage.report.text import count_of
from triage.web.pages import giving
from triage.web.pages.photo import text
from triage.web.request_context import RequestContext
from triage.web.uploads import Upload

_MOST_LIST_BYTES = 200_000_000
_MOST_ASIDE = 200


class Sheet(Upload):
    """A list on its way in."""

    suffixes = (".csv", ".json", ".toml", ".html", ".pdf")
    what = "a list (.csv, .json, .toml) or a report (.html, .pdf)"

    def most(self, place: Path) -> int:
        """Return how many bytes a list may have."""
        return min(_MOST_LIST_BYTES, super().most(place))


def show(ask: RequestContext) -> Response:
    """Show what can be taken in and given out."""
    return ask.site.show(
        "files.html",
        ask,
        here="files",
        formats=giving.FORMATS,
        decks=queries.decks(ask.library),
        others=[name for name in ask.site.home.names() if name != ask.name],
        model=queries.model_in_use(ask.library),
        photos=queries.photo_count(ask.library),
        last=ask.site.jobs.last(ask.name),
    )


# ---- taken in ---------------------------------------------------------------------------------------------


def begin(ask: RequestContext) -> Response:
    """Make room for a list."""
    if not ask.by:
        raise BadInput("Nobody is named as the speaker.")
    return JSONResponse({"upload": Sheet.begin(ask.library).id})


def take(ask: RequestContext) -> Response:
    """Read a list that was sent: stored, or only tried; the list itself is not kept."""
    upload = Sheet.find(ask.library, text(ask.data, "upload"))
    try:
        kind, read = text(ask.data, "kind"), _READ.get(text(ask.data, "kind"))
        if read is None:
            raise BadInput(f"{kind!r} is no list that is taken in.", "Choose one of the list.")
        path = upload.place(text(ask.data, "name", 400))
        mapping = text(ask.data, "mapping", 400)
        if not path.is_file():
            raise BadInput("The list did not come.", "Choose it again.")
        came = read(ask, path, upload.place(mapping) if mapping else None, ask.data.get("try") is True)
        rows = [ask.words(row) for row in came["set_aside"]]
        return JSONResponse({**came, "told": ask.words(came["told"]), "set_aside": rows})
    except TriageError as error:
        root = f"{upload.files}/"
        raise type(error)(str(error).replace(root, ""), error.hint.replace(root, "")) from error
    finally:
        upload.drop()


def _said(words: str, aside: list[tuple[object, str]], dry: bool) -> dict[str, Any]:
    rows = [f"Row {where}: {why}" if where else why for where, why in aside[:_MOST_ASIDE]]
    told = f"{words} {'Only tried: nothing was stored.' if dry else ''}".strip()
    return {"told": told, "set_aside": rows, "count": len(aside)}


def _labels(ask: RequestContext, path: Path, mapping: Path | None, dry: bool) -> dict[str, Any]:
    from triage.label.rows import store_rows

    if path.suffix.lower() == ".json":
        from triage.exchange import read_labels_file

        rows, set_aside = read_labels_file(ask.library, path, mapping)
    else:
        from triage.label.files import read_csv_rows

        rows, set_aside = read_csv_rows(path)
    done = store_rows(ask.library, rows, set_aside, by=ask.by, dry_run=dry)
    words = (
        f"{count_of(done.rows, 'row')}: {done.new} new, {done.known} known, {len(done.set_aside)} set aside."
    )
    return _said(words, [(one.row, one.reason) for one in done.set_aside], dry)


def _facts(ask: RequestContext, path: Path, _mapping: Path | None, dry: bool) -> dict[str, Any]:
    from triage.structure.field_sheets import take_facts

    sheet = take_facts(ask.library, path, by=ask.by, dry_run=dry)
    count = sum(len(values) for values in sheet.told.values())
    words = f"{count_of(count, 'fact')} for {count_of(len(sheet.told), 'deck')}; {sheet.known} known before."
    return _said(words, [(one["row"], one["reason"]) for one in sheet.set_aside], dry)


def _repairs(ask: RequestContext, path: Path, _mapping: Path | None, dry: bool) -> dict[str, Any]:
    from triage.report import read_repairs

    if dry:
        raise BadInput("The crew's sheet cannot be tried only.", "Untick the box: it closes nothing.")
    row = read_repairs(ask.library, path, ask.by)
    words = f"{row['new']} of {count_of(row['rows'], 'row')} recorded, {row['known']} known before."
    return _said(words, [(one["row"], one["reason"]) for one in row["set_aside"]], dry)


def _tags(ask: RequestContext, path: Path, _mapping: Path | None, dry: bool) -> dict[str, Any]:
    from triage.domain.vocabulary import read_tags
    from triage.label.tags import add_tags

    if dry:
        return _said(f"{count_of(len(read_tags(path)), 'tag')} in the file.", [], dry)
    added, known = add_tags(ask.library, path)
    return _said(f"{count_of(len(added), 'tag')} added, {len(known)} were there already.", [], dry)


def _report(ask: RequestContext, path: Path, _mapping: Path | None, _dry: bool) -> dict[str, Any]:
    from triage.report import verify_report

    faults = verify_report(ask.library, path)
    words = (
        f"{count_of(len(faults), 'thing')} in this report is not as the library has it."
        if faults
        else "Every sentence of this report is as the library has it."
    )
    return _said(words, [("", str(fault)) for fault in faults], dry=False)


_READ = {"report": _report, "labels": _labels, "facts": _facts, "repairs": _repairs, "tags": _tags}


# ---- given out --------------------------------------------------------------------------------------------


_TYPE = {".csv": "text/csv; charset=utf-8", ".html": "text/html; charset=utf-8"}


def sent(name: str, write: Callable[[Path], Any]) -> Response:
    """Return a file that a library function writes, to be saved by the browser."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        write(path)
        data = path.read_bytes()
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return Response(data, media_type=_TYPE[Path(name).suffix], headers=headers)


def _write_sheet(library: Library, path: Path) -> None:
    """Write the site sheet of every deck: for the phone, as a template, or to print."""
    from triage.assess.shots import shot_list
    from triage.library.log import now
    from triage.structure.blank_sheets import deck_pages, template_csv
    from triage.structure.phone_sheet import phone_sheet

    known = {
        deck: {key: fact.value for key, fact in queries.facts(library, deck).items()}
        for deck in queries.decks(library)
    }
    if path.name == "site-sheet.html":
        text = phone_sheet(known, {deck: shot_list(facts) for deck, facts in known.items()}, now())
    else:
        text = template_csv(known) if path.suffix == ".csv" else deck_pages(known)
    path.write_text(text, encoding="utf-8")


def give(ask: RequestContext) -> Response:
    """Send a list as it stands now."""
    library = ask.library
    kind = ask.path["kind"]
    if kind == "labels.csv":
        from triage.label.rows import labels_file

        named = ask.query.get("names") == "1"
        return sent(kind, lambda path: labels_file(library, path, show_names=named))
    if kind == "facts.csv":
        from triage.structure.telling import write_facts

        return sent(kind, lambda path: write_facts(library, path))
    if kind in ("site-sheet.html", "site-sheet.csv", "site-sheet-print.html"):
        return sent(kind, lambda path: _write_sheet(library, path))
    if kind == "repairs.csv":
        from triage.report import write_repairs

        return sent(kind, lambda path: write_repairs(library, path))
    raise BadInput("There is no such list.", "Choose one of the list.")
