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
@click.option(
    "--deck-from",
    type=click.Choice(["folder", "slate", "walk"]),
    default="folder",
    show_default=True,
    help="What says which deck a photo shows: its folder, a printed card, or time and place.",
)
@click.option(
    "--deck-level",
    type=click.IntRange(0, 20),
    metavar="N",
    help="The folder so many steps below PATH is the deck (0: PATH itself).",
)
@click.option(
    "--plan",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.csv",
    help="The day's stops: name,address,latitude,longitude,time,day,decks; only name is needed.",
)
@click.option("--visit", metavar="DATE", help="The day of the visit, e.g. 2026-05-04.")
@click.option("--from-library", is_flag=True, help="PATH is another library: merge its photos and words.")
@click.option(
    "--accept-removals",
    is_flag=True,
    help="With --from-library: also remove here what was removed for good there.",
)
@dry_run_option
@engine_options
@by_option
@library_option
@json_option
def command(
    paths: tuple[Path, ...],
    deck: str | None,
    deck_from: str,
    deck_level: int | None,
    plan: Path | None,
    visit: str | None,
    from_library: bool,
    accept_removals: bool,
    dry_run: bool,
    engine: str,
    dask: str | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Take photos into the library: folders, zips, single files, or another library.

    The deck of a photo is the deepest folder that holds it; the folders of cameras, messengers and days name
    no deck, nor do folders for a phone or for close-ups. Where no folder names a deck, time and place
    propose one (--deck-from walk does so for all photos). Where two houses might become one deck, the photos
    wait and a question is listed: answer it with 'decks answer'. With --deck-from slate the deck is the one
    whose printed card (see: deck-triage slate) was photographed before it; with --plan the stops of the day
    name the decks. Originals are copied and never change. A file that is no readable photo is set aside with
    its reason, and the batch goes on. --dry-run prints the folders as a tree, with what each would become.

    Examples:
    deck-triage ingest card/ -L season-2026
    deck-triage ingest card.zip --visit 2026-05-04
    deck-triage ingest IMG_0412.jpg --deck D-17
    deck-triage ingest card/ --deck-from slate
    deck-triage ingest card/ --deck-from walk
    deck-triage ingest card/ --plan day.csv
    deck-triage ingest card/ --deck-level 1
    deck-triage ingest card/ --dry-run
    """
    from triage.ingest import ingest
    from triage.ingest.plan import read_plan

    with open_library(library_path) as library:
        if from_library:
            from triage.exchange import merge_libraries

            merged = merge_libraries(
                library,
                paths,
                by=someone(by),
                dry_run=dry_run,
                accept_removals=accept_removals,
                progress=progress_line(),
            )
            return _show_merged(merged, as_json)
        _fit(deck, deck_from, deck_level, plan)
        running: dict[str, Any] = {"by": someone(by), "visit": visit, "engine": engine, "dask": dask}
        running |= {"dry_run": dry_run, "progress": progress_line()}
        if deck_from == "slate":
            from triage.ingest.by_slate import ingest_by_slate

            result = ingest_by_slate(library, paths, **running)
        else:
            stops = read_plan(plan) if plan is not None else None
            walk = deck_from == "walk"
            result = ingest(library, paths, deck=deck, walk=walk, level=deck_level, plan=stops, **running)
        return _show(result, as_json)


def _fit(deck: str | None, deck_from: str, level: int | None, plan: Path | None) -> None:
    """Check that the options say one thing only. Raises WrongUsage."""
    given = [
        name
        for name, is_given in (
            ("--deck", deck is not None),
            (f"--deck-from {deck_from}", deck_from != "folder"),
            ("--deck-level", level is not None),
            ("--plan", plan is not None),
        )
        if is_given
    ]
    if len(given) > 1 and given != ["--deck-from walk", "--plan"]:
        raise WrongUsage(
            f"{given[0]} and {given[1]} do not go together.", "Each says where the decks come from."
        )


def _show_merged(merged: Any, as_json: bool) -> int:
    if as_json:
        emit(merged.to_json())
    else:
        say(merged.sentence())
        for one in merged.removals[:_SHOWN]:
            advise(f"Removed for good there: {one['deck']}/{one['name']}")
        for one in merged.set_aside[:_SHOWN]:
            advise(f"{one.file}: {one.reason}")
        if len(merged.set_aside) > _SHOWN:
            advise(f"... and {len(merged.set_aside) - _SHOWN} more; --json lists all.")
    return exit_for(bool(merged.set_aside))


def _show(result: IngestResult, as_json: bool) -> int:
    if as_json:
        emit(result.to_json())
    else:
        _say_result(result)
    for deck, others in list(result.look_alikes.items())[:_SHOWN]:
        advise(
            f"Photos of {deck} look the same as some of {', '.join(others)}: these decks count as one in "
            "every figure. If it is one deck, join them: deck-triage decks join DECK OTHER"
        )
    if result.undated:
        advise(
            f"No single camera date at {', '.join(result.undated[:_SHOWN])}: their visit stays open; "
            f"give it with --visit DATE."
        )
    for one in result.set_aside[:_SHOWN] if not as_json else result.set_aside:
        advise(f"Set aside {one.file}: {one.reason}")
    if len(result.set_aside) > _SHOWN and not as_json:
        advise(f"... and {len(result.set_aside) - _SHOWN} more; --json lists all.")
    return exit_for(result.is_open)


def _say_result(result: IngestResult) -> None:
    data = result.to_json()
    verb = "Would take in" if result.dry_run else "Took in"
    for line in result.tree if result.dry_run else ():
        say(line)
    say(f"{verb} {data['added']} photos; {data['known']} were known; decks: {len(data['decks'])}.")
    for deck, count in data["decks"].items():
        mark = "  (found by time and place)" if deck in data["proposed"] else ""
        say(f"  {deck}: {count}{mark}")
    if data["proposed"]:
        say("Give decks their own names with: deck-triage decks rename OLD NEW --by NAME")
    if data["waiting"]:
        say(f"  waiting for a deck: {data['waiting']}")
    for question in result.questions[:_SHOWN]:
        proposed = f" Proposed: {question.proposal}." if question.proposal else ""
        say(f"  {question.id}: {question.reason}{proposed}")
    if len(result.questions) > _SHOWN:
        say(f"  ... and {len(result.questions) - _SHOWN} more.")
    if result.questions and not result.dry_run:
        say(
            "Answer with: deck-triage decks answer ID --by NAME (as proposed), or --deck DECK; "
            "the clear ones at once: deck-triage decks answer --all --by NAME"
        )
    for row in result.said_of_plan:
        if row["kind"] == "no-photos":
            say(f"No photos of the planned {', '.join(row['decks'])}.")
        else:
            say(f"{row['deck']} ({row['photos']} photos) matches no stop of the plan.")
