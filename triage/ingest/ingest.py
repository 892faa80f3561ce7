"""Taking photos into a library."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from triage.batch import Cancel, Progress
from triage.errors import BadInput
from triage.ingest.collect import SourceFile, by_folders, collect
from triage.ingest.folders import Lot, tree_lines
from triage.ingest.result import IngestResult
from triage.ingest.run import Run
from triage.library import EventDraft, Library, queries

if TYPE_CHECKING:
    from triage.ingest.plan import Plan


def check_visit(text: str | None) -> str | None:
    """Return a visit's date as given. Raises BadInput unless it is an ISO date such as 2026-05-04."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise BadInput(
            f"{text!r} is not a date.", "Write a visit as YEAR-MONTH-DAY, e.g. 2026-05-04."
        ) from error


def ingest(
    library: Library,
    paths: Sequence[Path],
    *,
    by: str,
    deck: str | None = None,
    visit: str | None = None,
    walk: bool = False,
    level: int | None = None,
    plan: Plan | None = None,
    engine: str = "processes",
    dask: str | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> IngestResult:
    """Take photos into the library.

    The deck of a photo is `deck`, else the deepest folder that holds photos (with `level`, the folder so
    many steps below the given one); where folders name none, or with `walk` or a `plan`, time and place
    propose it. What is not sure waits at no deck, with a question. Raises BadInput when a path is missing or
    nothing offered is a photo file; everything else that is wrong with a file becomes a row of `set_aside`.
    """
    run = Run(library, by, deck, check_visit(visit), engine, dask, dry_run, progress, cancel, plan=plan)
    scratch = library.path / "cache" / "unpacked"
    try:
        offered = run.offered(collect([Path(path) for path in paths], deck, scratch))
        if deck is None:
            offered = by_folders(offered, level, nothing=walk or plan is not None)
            run.result.tree = tree_of(offered)
        wanted = run.sort_out(offered)
        if not wanted and not run.result.set_aside and not run.result.known:
            shown = ", ".join(str(path) for path in paths)
            raise BadInput(f"There are no photos in {shown}.", "Name a folder, a zip or photo files.")
        run.take_all(wanted)
        if plan is not None and not dry_run:
            keep_addresses(library, plan, by)
        run.remember()
    finally:
        run.close()
        shutil.rmtree(scratch, ignore_errors=True)
    return run.result


def keep_addresses(library: Library, plan: Plan, by: str) -> None:
    """Store the plan's addresses as private fields of its decks, where they say something new."""
    said = []
    for stop in plan.stops:
        for name in stop.deck_names:
            if stop.address and queries.deck_private(library, name).get("address") != stop.address:
                payload = {"deck": name, "field": "address"}
                said.append(EventDraft("deck-set", payload, by, private={"text": stop.address}))
    library.say_many(said)


def tree_of(offered: Sequence[SourceFile]) -> list[str]:
    """Return the offered folders as lines of a tree, each with the deck that it names."""
    return tree_lines((one.root, one.parts, Lot(one.deck, one.says, ())) for one in offered)
