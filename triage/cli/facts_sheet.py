"""`facts ask`, `facts template`, `facts keys`, `facts sheet`: the site sheet in every form."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import (
    advise,
    by_option,
    emit,
    json_option,
    library_option,
    named,
    need_by,
    open_library,
    say,
)
from triage.domain.plurals import count_of
from triage.errors import BadInput, WrongUsage
from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library
    from triage.structure.asking import Interview


@named("ask")
@click.argument("deck")
@click.option("--visit", metavar="DATE", help="The visit it was measured at (default: the latest).")
@click.option("--key", "keys", multiple=True, metavar="KEY", help="Ask only this (may be repeated).")
@click.option("--more", is_flag=True, help="Ask every fact, not only the short sheet.")
@by_option
@library_option
@json_option
def ask(
    deck: str,
    visit: str | None,
    keys: tuple[str, ...],
    more: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Ask the site sheet, one question a line; every answer is stored at once.

    Write units as you would on paper: 9ft, 9' 6", 2x10, SYP. Enter skips or keeps what is there,
    - takes a fact away, ? explains, u goes one answer back, more asks everything else, q stops.

    Examples:
    deck-triage facts ask D-17 --by ann
    deck-triage facts ask D-17 --key height --key species --by ann
    """
    from triage.assess.said import known_deck
    from triage.ingest import check_visit
    from triage.structure.asking import Interview

    with open_library(library_path) as library:
        interview = Interview(
            library,
            known_deck(library, deck),
            by=need_by(by),
            visit=check_visit(visit),
            keys=keys,
            more=more,
        )
        _run(interview)
    if as_json:
        emit({deck: interview.saved})
    else:
        say(f"Recorded {count_of(len(interview.saved), 'fact')} for {deck}.")


def _run(interview: Interview) -> None:
    """Ask until there is nothing more to ask, or the input ends."""
    section = ""
    while interview.line is not None:
        line = interview.line
        if line.section != section:
            section = line.section
            advise("")
            advise(section)
        number, of = interview.place
        known = f" [{interview.known}]" if interview.known else ""
        click.echo(f"{number}/{of} {line.ask}{known} ", err=True, nl=False)
        typed = sys.stdin.readline()
        if not typed:
            advise("")
            return
        try:
            step = interview.answer(typed)
        except (BadInput, WrongUsage) as error:
            advise(f"  {error}. {error.hint or ''}".rstrip())
            continue
        if step.words:
            for text in step.words.split("\n"):
                advise(f"    {text}")


@named("template")
@click.argument("decks", nargs=-1)
@click.option("--wide", is_flag=True, help="One row for each deck instead of one for each fact.")
@click.option("--more", is_flag=True, help="With every fact, not only the short sheet.")
@library_option
@json_option
def template(decks: tuple[str, ...], wide: bool, more: bool, library_path: Path | None, as_json: bool) -> Any:
    """Print a CSV to fill in; `facts read` takes it back. Cells left empty say nothing.

    Examples:
    deck-triage facts template > sheet.csv
    deck-triage facts template D-17 --wide > sheet.csv
    """
    from triage.structure.blank_sheets import template_csv

    with open_library(library_path) as library:
        known = _known(library, decks)
    text = template_csv(known, wide=wide, more=more)
    if as_json:
        emit({"decks": list(known), "csv": text})
    else:
        click.echo(text, nl=False)


@named("keys")
@click.argument("words", nargs=-1)
@json_option
def keys(words: tuple[str, ...], as_json: bool) -> Any:
    """List the facts there are: name, unit, range, meaning, and which rules and checks read each.

    Examples:
    deck-triage facts keys
    deck-triage facts keys height ledger
    """
    from triage.assess.fact_readers import fact_readers
    from triage.structure.blank_sheets import key_rows

    rows = key_rows(fact_readers())
    if words:
        rows = [row for row in rows if any(word.lower().replace(" ", "_") in _hay(row) for word in words)]
    if as_json:
        emit(rows)
        return
    for row in rows:
        say(f"{row['key']}: {row['meaning']}.")
        takes = ", ".join(row["choices"]) or _range(row)
        say(f"    takes {takes}")
        if row["read_by"]:
            say(f"    read by {', '.join(row['read_by'])}")
    if not rows:
        raise BadInput(f"No fact is called {' or '.join(words)}.", "List them all: deck-triage facts keys")


def _hay(row: dict[str, Any]) -> str:
    return " ".join([row["key"], row["meaning"].lower().replace(" ", "_"), *row["also"]])


def _range(row: dict[str, Any]) -> str:
    if row["low"] is None:
        shapes = {"bool": "yes or no", "member": "a size such as 2x8", "post": "a size such as 6x6"}
        return shapes.get(row["type"], {"beam": "plies and size, as 2-2x10"}.get(row["type"], "a few words"))
    return f"{row['low']:g} to {row['high']:g} {row['unit']}".strip()


@named("sheet")
@click.argument("decks", nargs=-1)
@click.option("--phone", type=click.Path(path_type=Path), help="One file for the phone (HTML).")
@click.option("--print", "paper", type=click.Path(path_type=Path), help="A page a deck (PDF or HTML).")
@click.option("--season", type=click.Path(path_type=Path), help="One table of all decks (PDF or HTML).")
@library_option
@json_option
def sheet(
    decks: tuple[str, ...],
    phone: Path | None,
    paper: Path | None,
    season: Path | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Write the site sheet: for the phone without a network, or to print.

    The phone's file keeps what is typed in the phone's browser and saves it as a CSV that `facts read`
    takes, with who gave each answer, when, and on which sheet. Files from several phones may be read one
    after the other. Decks that are not in the library yet may be named.

    Examples:
    deck-triage facts sheet --phone season.html
    deck-triage facts sheet D-17 --print sheet.html
    deck-triage facts sheet --season season-table.html
    """
    from triage.structure.blank_sheets import deck_pages, season_table

    if not (phone or paper or season):
        raise WrongUsage("No file is named.", "Name one with --phone, --print or --season.")
    written = []
    with open_library(library_path) as library:
        known = _known(library, decks)
        if not known:
            raise BadInput("There is no deck to make a sheet for.", "Ingest photos first, or name the decks.")
        if phone:
            written.append(_write_phone(phone, known))
        for path, make in ((paper, deck_pages), (season, season_table)):
            if path:
                written.append(_write_paper(path, make(known)))
    if as_json:
        emit({"decks": list(known), "files": [str(path) for path in written]})
    else:
        for path in written:
            say(f"Wrote {path} for {count_of(len(known), 'deck')}.")


def _known(library: Library, decks: tuple[str, ...]) -> dict[str, dict[str, Any]]:
    there = queries.decks(library)
    for deck in decks:
        if deck not in there:
            advise(f"{deck} is not in the library yet; its sheet starts empty.")
    return {
        deck: {key: fact.value for key, fact in queries.facts(library, deck).items()} if deck in there else {}
        for deck in decks or there
    }


def _write_phone(path: Path, known: dict[str, dict[str, Any]]) -> Path:
    from triage.assess.shots import shot_list
    from triage.library.log import now
    from triage.library.store import write_whole
    from triage.structure.phone_sheet import phone_sheet

    shots = {deck: shot_list(facts) for deck, facts in known.items()}
    write_whole(path, phone_sheet(known, shots, now()).encode())
    return path


def _write_paper(path: Path, page: str) -> Path:
    from triage.library.store import write_whole

    if path.suffix.lower() == ".pdf":
        from triage.report.pdf import to_pdf

        write_whole(path, to_pdf(page.encode()))
    elif path.suffix.lower() in (".html", ".htm"):
        write_whole(path, page.encode())
    else:
        raise WrongUsage(f"{path.name} is neither .pdf nor .html.", "Name the sheet *.pdf or *.html.")
    return path


COMMANDS = (ask, template, keys, sheet)
