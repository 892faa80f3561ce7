"""`repairs`: the crew's sheet, out and back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import (
    advise,
    by_option,
    emit,
    exit_for,
    json_option,
    library_option,
    named,
    need_by,
    open_library,
    say,
)


@click.group("repairs")
def command() -> None:
    """Write the crew's repair sheet, and read it back when it is filled in."""


@named("write")
@click.argument("file", type=click.Path(path_type=Path))
@library_option
@json_option
def write(file: Path, library_path: Path | None, as_json: bool) -> Any:
    """Write every repair as a row with place and count, in the order of the work.

    Examples:
    deck-triage repairs write crew.csv
    """
    from triage.report import write_repairs

    with open_library(library_path) as library:
        row = write_repairs(library, file)
    if as_json:
        emit(row)
    else:
        say(f"{row['rows']} repairs written to {file}.")


@named("read")
@click.argument("file", type=click.Path(path_type=Path))
@by_option
@library_option
@json_option
def read(file: Path, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Read a filled-in sheet. It closes nothing: that takes a named person and an after-photo.

    Examples:
    deck-triage repairs read crew.csv --by ann
    """
    from triage.report import read_repairs

    with open_library(library_path) as library:
        row = read_repairs(library, file, need_by(by))
    if as_json:
        emit(row)
    else:
        say(f"{row['new']} of {row['rows']} rows recorded, {row['known']} known before.")
    for one in row["set_aside"]:
        advise(f"Row {one['row']} set aside: {one['reason']}")
    return exit_for(bool(row["set_aside"]))


command.add_command(write)
command.add_command(read)
