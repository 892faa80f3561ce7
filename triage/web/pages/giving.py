"""What leaves the library as files to download: open formats, the model card, cards to print.

Each is a job; what it writes lies below the library's reports.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from triage.errors import BadInput
from triage.library import Library, queries
from triage.report.text import count_of
from triage.web.jobs import JobResult
from triage.web.request_context import RequestContext

FORMATS = {
    "csv": "CSV tables",
    "parquet": "Parquet tables",
    "coco": "COCO JSON with pictures",
    "croissant": "Croissant (JSON-LD) with pictures",
    "xmp": "XMP files beside the pictures",
}


def output(library: Library, kind: str) -> tuple[Path, str]:
    """Return a new folder below the library's reports for something to download, and its name."""
    name = f"{kind}-{datetime.now().astimezone():%Y-%m-%d-%H%M%S}"
    folder = library.path / "reports" / name
    folder.mkdir(parents=True, exist_ok=True)
    return folder, name


def _zipped(library: Library, kind: str, write: Callable[[Path], Any]) -> tuple[str, Any]:
    """Let a library function write into a folder and pack it as one zip; returns its place and the result."""
    with tempfile.TemporaryDirectory(dir=library.caches) as scratch:
        inside = Path(scratch) / kind
        inside.mkdir()
        done = write(inside)
        folder, name = output(library, kind)
        shutil.make_archive(str(folder / name), "zip", scratch, kind)
    return f"reports/{name}/{name}.zip", done


def _export(ask: RequestContext) -> Any:
    kind = ask.text("as")
    split = ask.take(split=lambda: _shares(ask.text("split", 60)))["split"]
    options: dict[str, Any] = {
        "split": split,
        "seed": ask.text("seed", 100) or None,
        "pseudonyms": not ask.text("show_names"),
        "with_text": bool(ask.text("with_text")),
        "show_position": bool(ask.text("show_position")),
        "pictures": ask.text("pictures") or None,
    }
    library, url = ask.library, ask.url

    def work(progress: Any, cancel: Any) -> JobResult:
        from triage.exchange import export_library

        where, done = _zipped(
            library,
            f"export-{kind}",
            lambda folder: export_library(library, folder, kind, progress=progress, cancel=cancel, **options),
        )
        seed = f" Split by seed {done.seed}." if done.seed else ""
        lines = [f"{count_of(len(done.files), 'file')} packed.{seed}"]
        return JobResult(lines, [(name, why) for name, why in done.set_aside], url(where), "Download it")

    return work


def _shares(said: str) -> tuple[float, ...]:
    found = tuple(_share(part) for part in said.replace(";", " ").replace("%", " ").split())
    if found and abs(sum(found) - 1) > 0.001:
        raise BadInput("The shares do not come to 100 percent.", "Write for example 70 15 15.")
    return found


def _share(said: str) -> float:
    try:
        return float(said.replace(",", ".")) / 100
    except ValueError as error:
        raise BadInput(f"{said!r} is no percentage.", "Write for example 70 15 15.") from error


def _card(ask: RequestContext) -> Any:
    library, url = ask.library, ask.url

    def work(_progress: Any, _cancel: Any) -> JobResult:
        from triage.train.card import write_card

        where, files = _zipped(library, "model-card", lambda folder: write_card(library, folder))
        return JobResult([f"{count_of(len(files), 'file')} packed."], [], url(where), "Download it")

    return work


def _cards(ask: RequestContext) -> Any:
    from triage.ingest import check_visit

    decks = [one for one in ask.form.get("decks", []) if one]
    decks += [line.strip() for line in ask.text("more").splitlines() if line.strip()]
    given = ask.take(more=lambda: _named(decks), visit=lambda: check_visit(ask.text("visit") or None))
    paper, visit = ask.text("paper") or "letter", given["visit"]
    closing = bool(ask.text("closing"))
    library, url = ask.library, ask.url

    def work(progress: Any, _cancel: Any) -> JobResult:
        from triage.assess.shots import shot_list
        from triage.slate.draw import write_cards
        from triage.slate.of_library import deck_cards

        progress("drawing cards", 0, None)
        cards = deck_cards(library, decks, paper, visit, closing)
        shots = {
            deck: shot_list({key: fact.value for key, fact in queries.facts(library, deck).items()})
            for deck in decks
        }
        folder, name = output(library, "cards")
        write_cards(folder / "cards.pdf", cards, shots)
        told = f"{count_of(len(cards), 'card')} with their backs. Print at 100 %, on both sides."
        return JobResult([told], [], url(f"reports/{name}/cards.pdf"), "Download the PDF")

    return work


def _named(decks: list[str]) -> list[str]:
    if not decks:
        raise BadInput("No deck is named.", "Tick decks, or write the codes of new ones, one a line.")
    return decks


def _merge(ask: RequestContext) -> Any:
    other = ask.need("other", "The other library")
    library, by, where = ask.library, ask.by, ask.url()
    path, accept = ask.site.home.library(other).path, bool(ask.text("accept_removals"))
    if path == library.path:
        raise BadInput("A library is not merged with itself.", "Choose another one.")

    def work(progress: Any, cancel: Any) -> JobResult:
        from triage.exchange import merge_libraries

        gone = [] if accept else merge_libraries(library, [path], by=by, dry_run=True).removals
        if gone:
            lines = [
                f"Nothing was taken over yet: {other} has removed {count_of(len(gone), 'photo')} for good."
            ]
            shown = [(f"{one['deck']}/{one['name']}", "removed for good there, still here") for one in gone]
            return JobResult(lines, shown, more={"removals": len(gone), "other": other})
        done = merge_libraries(
            library, [path], by=by, accept_removals=accept, progress=progress, cancel=cancel
        )
        aside = [(one.file, one.reason) for one in done.set_aside]
        return JobResult([done.sentence()], aside, where, "To the decks")

    return work


WORK = {
    "export": ("exporting", _export),
    "card": ("writing the model card", _card),
    "cards": ("drawing cards", _cards),
    "merge": ("taking over another library", _merge),
}
