"""`ingest`: photos into the library."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import (
    advise,
    by_option,
    dry_run_option,
    emit,
    engine_options,
    exit_for,
    json_option,
    library_option,
    named,
    open_library,
    progress_line,
    say,
    someone,
)
from triage.errors import WrongUsage

if TYPE_CHECKING:
    from triage.ingest import IngestResult

_SHOWN = 20


@named("ingest")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--deck", metavar="NAME", help="Put all photos at this deck.")
@click.option("--deck-from", type=click.Choice(["folder", "slate"]), default="folder", show_default=True)
@click.option("--visit", metavar="DATE", help="The day of the visit, e.g. 2026-05-04.")
@click.option("--from-library", is_flag=True, help="PATH is another library: merge its photos and words.")
@dry_run_option
@engine_options
@by_option
@library_option
@json_option
def command(
    paths: tuple[Path, ...],
    deck: str | None,
    deck_from: str,
    visit: str | None,
    from_library: bool,
    dry_run: bool,
    engine: str,
    dask: str | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Take photos into the library: folders, zips, single files, or another library.

    The deck of a photo is the folder right below PATH that holds it. With --deck-from slate it is the deck
    whose printed card (see: deck-triage slate) was photographed before it; what no card decides goes to
    'unsorted', which is no deck, and is listed. Originals are copied and never change.
    A file that is no readable photo is set aside with its reason, and the batch goes on.

    Examples:
    deck-triage ingest card/ -L season-2026
    deck-triage ingest card.zip --visit 2026-05-04
    deck-triage ingest IMG_0412.jpg --deck D-17
    deck-triage ingest card/ --deck-from slate
    deck-triage ingest card/ --dry-run
    """
    from triage.ingest import ingest

    with open_library(library_path) as library:
        if from_library:
            from triage.exchange import merge_libraries

            merged = merge_libraries(
                library, paths, by=someone(by), dry_run=dry_run, progress=progress_line()
            )
            return _show_merged(merged, as_json)
        if deck_from == "slate":
            from triage.ingest.by_slate import ingest_by_slate

            if deck is not None:
                raise WrongUsage(
                    "--deck and --deck-from slate do not go together.",
                    "The cards in the photos name the decks.",
                )
            result = ingest_by_slate(
                library,
                paths,
                by=someone(by),
                visit=visit,
                engine=engine,
                dask=dask,
                dry_run=dry_run,
                progress=progress_line(),
            )
        else:
            result = ingest(
                library,
                paths,
                by=someone(by),
                deck=deck,
                visit=visit,
                engine=engine,
                dask=dask,
                dry_run=dry_run,
                progress=progress_line(),
            )
        return _show(result, as_json)


def _show_merged(merged: Any, as_json: bool) -> int:
    if as_json:
        emit(merged.to_json())
    else:
        say(merged.sentence())
        for one in merged.set_aside[:_SHOWN]:
            advise(f"{one.file}: {one.reason}")
        if len(merged.set_aside) > _SHOWN:
            advise(f"... and {len(merged.set_aside) - _SHOWN} more; --json lists all.")
    return exit_for(bool(merged.set_aside))


def _show(result: IngestResult, as_json: bool) -> int:
    if as_json:
        emit(result.to_json())
    else:
        data = result.to_json()
        verb = "Would take in" if result.dry_run else "Took in"
        say(f"{verb} {data['added']} photos; {data['known']} were known; decks: {len(data['decks'])}.")
        for deck, count in data["decks"].items():
            say(f"  {deck}: {count}")
        if data["waiting"]:
            say(f"  waiting for a deck: {data['waiting']}")
    if result.undated:
        advise(
            f"No single camera date at {', '.join(result.undated[:_SHOWN])}: their visit stays open; "
            f"give it with --visit DATE."
        )
    for one in result.set_aside[:_SHOWN] if not as_json else result.set_aside:
        advise(f"Set aside {one.file}: {one.reason}")
    if len(result.set_aside) > _SHOWN and not as_json:
        advise(f"... and {len(result.set_aside) - _SHOWN} more; --json lists all.")
    return exit_for(bool(result.set_aside))
