"""`facts`: what was measured or is known about a deck."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

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
    say,
    table,
)
from triage.cli.facts_sheet import COMMANDS
from triage.errors import WrongUsage
from triage.library import queries
from triage.report.text import count_of


@click.group("facts")
def command() -> None:
    """What was measured or is known about a deck."""


@named("set")
@click.argument("deck")
@click.argument("pairs", nargs=-1, required=True, metavar="KEY=VALUE...")
@click.option("--visit", metavar="DATE", help="The visit it was measured at (default: the latest).")
@click.option("--photo", "photos", multiple=True, metavar="P", help="A photo that shows it.")
@dry_run_option
@by_option
@library_option
@json_option
def set_(
    deck: str,
    pairs: tuple[str, ...],
    visit: str | None,
    photos: tuple[str, ...],
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Record facts of a deck. KEY= takes one away.

    Write units as you would on paper (9ft, 9' 6", 2x10, SYP); a key may be written without its unit, and
    `height` means the height above grade. `facts keys` lists them.

    Examples:
    deck-triage facts set D-17 height=9ft species=SYP --by ann
    deck-triage facts set D-17 joist_size=2x8 joist_span_ft=11.5 --by ann
    deck-triage facts set D-17 height_above_grade_ft=6.5 --photo D-17/IMG_0412.jpg --by ann
    """
    from triage.assess.said import known_deck
    from triage.ingest import check_visit
    from triage.structure.telling import as_text, repairs, set_facts

    given = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals:
            raise WrongUsage(f"{pair!r} is no fact.", "Write KEY=VALUE, e.g. joist_size=2x8.")
        given[key.strip()] = value.strip()
    with open_library(library_path) as library:
        notes = repairs(library, known_deck(library, deck), check_visit(visit), given)
        told = set_facts(
            library,
            deck,
            given,
            by=need_by(by),
            visit=check_visit(visit),
            photos=[queries.find_photo(library, one) for one in photos],
            dry_run=dry_run,
        )
    for note in notes:
        advise(note)
    if as_json:
        emit({deck: told})
    else:
        gone = [key for key in given if given[key] == ""]
        words = [f"{key} = {as_text(value)}" for key, value in told.items()]
        say(f"{deck}: " + ", ".join([*words, *(f"{key} taken away" for key in gone)]))


@named("read")
@click.argument("path", type=click.Path(path_type=Path))
@dry_run_option
@by_option
@library_option
@json_option
def read(path: Path, dry_run: bool, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Read facts from TOML ([decks."name"]), CSV (deck,visit,key,value), or a sheet saved on a phone.

    A CSV may also hold one deck a row, with a column for each fact. A phone's sheet names who gave each
    answer; what another person changed meanwhile is set aside with both values.

    Examples:
    deck-triage facts read facts.toml --by ann
    """
    from triage.structure.field_sheets import take_facts

    with open_library(library_path) as library:
        sheet = take_facts(library, path, by=by, dry_run=dry_run)
    told, known, set_aside = sheet.told, sheet.known, sheet.set_aside
    for row in set_aside:
        advise(f"Row {row['row']} set aside: {row['reason']}")
    if as_json:
        emit(told)
    else:
        count = sum(len(values) for values in told.values())
        again = f"; {count_of(known, 'fact was', 'facts were')} known already" if known else ""
        say(f"Recorded {count_of(count, 'fact')} for {count_of(len(told), 'deck')}{again}.")
    return exit_for(bool(set_aside))


@named("show")
@click.argument("deck")
@click.option("--visit", metavar="DATE", help="As known at this visit.")
@library_option
@json_option
def show(deck: str, visit: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Show what is known about a deck.

    Examples:
    deck-triage facts show D-17
    """
    from triage.assess.said import known_deck
    from triage.library import queries

    with open_library(library_path) as library:
        facts = queries.facts(library, known_deck(library, deck), visit or queries.ANY_VISIT)
    if as_json:
        emit({deck: {key: fact.value for key, fact in facts.items()}})
    else:
        rows = [(key, fact.value, fact.visit, fact.by, fact.at[:10]) for key, fact in facts.items()]
        say(table(rows, ("fact", "value", "visit", "by", "told on")))


@named("write")
@click.argument("path", type=click.Path(path_type=Path))
@library_option
@json_option
def write(path: Path, library_path: Path | None, as_json: bool) -> Any:
    """Write the facts of all decks as CSV (deck,visit,key,value), as `facts read` takes them.

    Examples:
    deck-triage facts write known-facts.csv
    """
    from triage.structure.telling import write_facts

    with open_library(library_path) as library:
        count = write_facts(library, path)
    if as_json:
        emit({"rows": count, "file": str(path)})
    else:
        say(f"Wrote {count_of(count, 'fact')} to {path}.")


for _one in (set_, read, show, write, *COMMANDS):
    command.add_command(_one)
