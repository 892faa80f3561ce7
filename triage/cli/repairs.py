"""`repairs`: the crew's sheet, out and back, and what the repairs come to: looked at and closed, or open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._acts import explain_option
from triage.cli._common import (
    advise,
    by_option,
    dry_run_option,
    emit,
    exit_for,
    json_option,
    library_option,
    named,
    need_by,
    open_library,
    progress_line,
    say,
)
from triage.domain.plurals import count_of

if TYPE_CHECKING:
    from triage.library import Library
    from triage.report.awaiting import Pair


@click.group("repairs")
def command() -> None:
    """The repair round: the crew's sheets out and back, what awaits your look, and closing all that hold."""


@named("write")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--deck", "decks", multiple=True, metavar="D", help="Only this deck; may be repeated.")
@click.option("--by-house", is_flag=True, help="FILE is a folder: one sheet for each house.")
@library_option
@json_option
def write(
    file: Path, decks: tuple[str, ...], by_house: bool, library_path: Path | None, as_json: bool
) -> Any:
    """Write every open repair as a row with place and count, in the order of the work.

    With --by-house the folder gets one sheet for each house: decks with one address share a sheet.

    Examples:
    deck-triage repairs write crew.csv
    deck-triage repairs write sheets --by-house
    """
    from triage.report import write_repairs
    from triage.report.repairs_sheet import write_by_house

    with open_library(library_path) as library:
        chosen = list(decks) or None
        row = write_by_house(library, file, chosen) if by_house else write_repairs(library, file, chosen)
    if as_json:
        emit(row)
        return
    repairs = count_of(row["rows"], "repair")
    sheets = row.get("files")
    if sheets is None:
        say(f"{repairs} written to {file}.")
        return
    say(f"{repairs} written to {count_of(len(sheets), 'sheet')}:")
    for one in sheets:
        say(f"  {one}")


@named("read")
@click.argument("file", type=click.Path(path_type=Path))
@by_option
@library_option
@json_option
def read(file: Path, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Read a filled-in sheet, or a folder of them. It closes nothing: that takes a named person and a look.

    Ingest the crew's photos first, with the day on which they were taken; the column photo names the one that
    shows the repair.

    Examples:
    deck-triage repairs read crew.csv --by ann
    """
    from triage.report import read_repairs

    files = sorted(file.glob("*.csv")) if file.is_dir() else [file]
    total: dict[str, Any] = {"rows": 0, "new": 0, "known": 0, "set_aside": []}
    with open_library(library_path) as library:
        for one in files or [file]:
            row = read_repairs(library, one, need_by(by))
            for name in ("rows", "new", "known"):
                total[name] += row[name]
            more = {"file": one.name} if file.is_dir() else {}
            total["set_aside"] += [{**aside, **more} for aside in row["set_aside"]]
    if as_json:
        emit(total)
    else:
        say(f"{total['new']} of {total['rows']} rows recorded, {total['known']} known before.")
        if total["new"]:
            say("What awaits your look: deck-triage repairs list")
    for one in total["set_aside"]:
        where = f"{one['file']}, row" if "file" in one else "Row"
        advise(f"{where} {one['row']} set aside: {one['reason']}")
    return exit_for(bool(total["set_aside"]))


@named("list")
@click.argument("decks", nargs=-1)
@click.option("--propose", is_flag=True, help="Where no photo after is known: the one that looks likeliest.")
@library_option
@json_option
def list_(decks: tuple[str, ...], propose: bool, library_path: Path | None, as_json: bool) -> Any:
    """List each photo of an open concern with the later photo that may show its place, and what is missing.

    Without a deck: all decks that a crew's sheet or a second visit speaks of.

    Examples:
    deck-triage repairs list
    deck-triage repairs list D-17
    deck-triage repairs list D-17 --propose
    """
    from triage.report.awaiting import repair_round

    with open_library(library_path) as library:
        found = repair_round(library, decks)
        likely = _likely(library, found) if propose else {}
    if as_json:
        emit([one.to_json() | ({"proposed": likely.get(one.id)} if propose else {}) for one in found])
        return
    if not found:
        say("No repair is under way: no crew's sheet was read, and no deck has a second visit.")
    say_pairs(found, likely)


def _likely(library: Library, found: Sequence[Pair]) -> dict[str, dict[str, Any]]:
    """Return for lines without a photo after the later photo that looks likeliest to show the place."""
    from triage.library import queries
    from triage.matching import propose_places

    likely: dict[str, dict[str, Any]] = {}
    for one in found:
        if one.before is None or one.after is not None:
            continue
        later = [
            seen
            for seen in propose_places(library, one.deck, one.before, limit=1, progress=progress_line())
            if (seen.photo.visit or "") > (one.before.visit or "")
        ]
        if later:
            likely[one.id] = {**later[0].to_json(), "name": queries.name_of(library, later[0].photo)}
    return likely


def say_pairs(found: Sequence[Pair], likely: Mapping[str, Mapping[str, Any]]) -> None:
    """Print lines of the round by their state, each with what mends it."""
    from triage.report.awaiting import STATES

    for state, words in STATES.items():
        mine = [one for one in found if one.state == state]
        if not mine:
            continue
        say(f"{len(mine)} x {state}: {words}")
        for one in mine:
            where = f" at {one.place}" if one.place else ""
            photos = " -> ".join(name for name in one.names if name)
            done = (
                f"; done by {one.done_by}{f' on {one.done_on}' if one.done_on else ''}" if one.done_by else ""
            )
            say(f"  {one.deck}: {one.concluded.rstrip('.')}{where} ({one.rule}{done})")
            if photos:
                say(f"    {photos}")
            if one.reason != words:
                say(f"    {one.reason}")
            if one.id in likely:
                say(f"    likeliest: {likely[one.id]['name']} ({likely[one.id]['why']})")
            say(f"    {one.mend}")


@named("close")
@click.argument("decks", nargs=-1)
@click.option("--why", required=True, metavar="TEXT", help="What was repaired and how it was checked.")
@explain_option("close")
@dry_run_option
@by_option
@library_option
@json_option
def close(
    decks: tuple[str, ...],
    why: str,
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Close every line of the round whose conditions all hold; the rest stays open with its reason.

    A line holds when a person answered on the photo after that it shows the part and that the defect is
    absent, and both photos carry the same place. Where they carry none somebody has to compare them: on the
    page (Repairs), or one by one with 'close --same-place'. Exit code 3 where something stays open.

    Examples:
    deck-triage repairs close D-17 --why 'hangers set, looked at each photo' --by ann
    """
    from triage.report.awaiting import HOLDS, repair_round
    from triage.report.repair_acts import Outcome, close_pairs

    with open_library(library_path) as library:
        found = repair_round(library, decks)
        holding = [one for one in found if one.state == HOLDS]
        closed = (
            [Outcome(one) for one in holding]
            if dry_run
            else close_pairs(library, holding, why=why, by=need_by(by))
        )
    open_ones = [Outcome(one, one.reason, one.mend) for one in found if one.state != HOLDS]
    outcomes = [*closed, *open_ones]
    left = [one for one in outcomes if one.refused]
    if as_json:
        emit({"closed": len(outcomes) - len(left), "lines": [one.to_json() for one in outcomes]})
        return exit_for(bool(left))
    for one in outcomes:
        if not one.refused:
            verb = "Would close" if dry_run else "Closed"
            say(f"{verb} {one.pair.rule} on {one.pair.deck}: {' -> '.join(n for n in one.pair.names if n)}")
    if left:
        say(f"{count_of(len(left), 'line stays', 'lines stay')} open:")
    for one in left:
        photo = f" ({one.pair.names[0]})" if one.pair.names[0] else ""
        say(f"  {one.pair.deck}, {one.pair.rule}{photo}: {one.refused}\n    {one.mend}")
    return exit_for(bool(left))


for _one in (write, read, list_, close):
    command.add_command(_one)
