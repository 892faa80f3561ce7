"""`people`: who speaks in a library, and which spellings of a name are one person's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say


@click.group("people", invoke_without_command=True)
@library_option
@json_option
@click.pass_context
def command(context: click.Context, library_path: Path | None, as_json: bool) -> None:
    """Who has spoken, and which spellings of a name are one person's."""
    if context.invoked_subcommand is None:
        context.invoke(show, library_path=library_path, as_json=as_json)


@named("list")
@library_option
@json_option
def show(library_path: Path | None, as_json: bool) -> Any:
    """Everybody who has spoken, with all spellings, and the names that may be one person's.

    Examples:
    deck-triage people list
    """
    from triage.library import people

    with open_library(library_path) as library, library.read() as connection:
        known = people.People(connection)
        names = {name: known.spellings(name) for name in map(known.name, people.speakers(connection))}
        questions = people.open_questions(connection)
    if as_json:
        rows = [{"name": name, "spellings": spellings} for name, spellings in sorted(names.items())]
        emit({"people": rows, "questions": [list(pair) for pair in questions]})
        return
    for name, spellings in sorted(names.items()):
        others = [repr(one) for one in spellings if one != name]
        say(f"{name}" + (f", also {', '.join(others)}" if others else ""))
    for one, other in questions:
        say(f"Are {one!r} and {other!r} one person? Say: deck-triage people same|apart {one!r} {other!r}")


@named("same")
@click.argument("name")
@click.argument("other")
@by_option
@library_option
@json_option
def same(name: str, other: str, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Say that OTHER is one more spelling of NAME; their labels count as one person's from now on.

    Examples:
    deck-triage people same ann "Ann B." --by cy
    """
    _decide(library_path, name, other, True, by, as_json)


@named("apart")
@click.argument("name")
@click.argument("other")
@by_option
@library_option
@json_option
def apart(name: str, other: str, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Say that NAME and OTHER are two people, so that nobody is asked again.

    Examples:
    deck-triage people apart ben Ben --by cy
    """
    _decide(library_path, name, other, False, by, as_json)


def _decide(path: Path | None, name: str, other: str, is_same: bool, by: str | None, as_json: bool) -> None:
    from triage.library.people import decide

    speaker = need_by(by, ask=False)
    with open_library(path) as library:
        decide(library, name, other, same=is_same, by=speaker)
    if as_json:
        emit({"name": name, "other": other, "same": is_same})
    else:
        say(f"{name!r} and {other!r} are {'one person' if is_same else 'two people'}.")


for _one in (show, same, apart):
    command.add_command(_one)
