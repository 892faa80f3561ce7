"""`presort`: what the model suggests."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import (
    advise,
    by_option,
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
    table,
)
from triage.domain.plurals import count_of
from triage.errors import WrongUsage

if TYPE_CHECKING:
    from triage.presort.of_library import PresortResult


@named("presort")
@click.option(
    "--deck", "decks", multiple=True, metavar="D", help="Only this deck (several times for several)."
)
@click.option("--again", is_flag=True, help="Compute again what this model said before.")
@click.option(
    "--sheets", is_flag=True, help="Compute nothing: list the parts that wait on contact sheets, by deck."
)
@click.option(
    "--csv",
    "csv_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write that list to a file (columns deck, tag, photos).",
)
@by_option
@engine_options
@library_option
@json_option
def command(
    decks: tuple[str, ...],
    again: bool,
    sheets: bool,
    csv_file: Path | None,
    by: str | None,
    engine: str,
    dask: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Let the model suggest what photos show: piles likely, unsure and, under a promise only, unlikely.

    A suggestion is no finding: a person confirms or overrules it.

    Examples:
    deck-triage presort
    deck-triage presort --deck D-17 --json
    deck-triage presort --sheets
    """
    from triage.presort.of_library import presort_library

    if csv_file is not None and not sheets:
        raise WrongUsage("--csv writes the list of contact sheets.", "Add --sheets.")
    if sheets:
        return _sheets(decks, csv_file, library_path, as_json=as_json)
    with open_library(library_path) as library:
        done = presort_library(
            library,
            by=someone(by),
            decks=decks,
            again=again,
            engine=engine,
            dask=dask,
            progress=progress_line(),
        )
    if as_json:
        emit(done.to_json())
    else:
        _show(done)
    for tag, standing in done.promise.items():
        if standing.standing == "withdrawn":
            advise(f"The promise for {tag} is WITHDRAWN: {standing.why_not}. Nothing is put in unlikely.")
    for sha, reason in done.set_aside:
        advise(f"Photo {sha[:12]} set aside: {reason}")
    return exit_for(bool(done.set_aside))


def _sheets(
    decks: tuple[str, ...], csv_file: Path | None, library_path: Path | None, *, as_json: bool
) -> None:
    """List the parts that wait on contact sheets: printed, as JSON, or in a file."""
    from triage.assess.sheets_waiting import COLUMNS, sheets_waiting
    from triage.library.store import write_whole
    from triage.presort.of_library import check_decks
    from triage.tabular import csv_text

    with open_library(library_path) as library:
        check_decks(library, decks)
        found = [one.to_json() for one in sheets_waiting(library, decks or None)]
        path = library.path
    if csv_file is not None:
        rows = [[one[column] for column in COLUMNS] for one in found]
        write_whole(csv_file, csv_text(COLUMNS, rows).encode())
    if as_json:
        emit(found)
        return
    if not found:
        say("No proposed part waits on a contact sheet.")
        return
    if csv_file is None:
        say(table([(one["deck"], one["tag"], one["photos"]) for one in found], COLUMNS))
    photos = sum(one["photos"] for one in found)
    number = len({one["deck"] for one in found})
    parts = count_of(photos, "proposed part")
    verb = "waits" if photos == 1 else "wait"
    say(f"{parts} at {count_of(number, 'deck')} {verb} for a person.")
    advise(f"Confirm them on the page, a part at a time across decks: deck-triage review -L {path}")


SHARES = (
    "The last two columns: the share of the labeled photos that show the tag, and the share of these photos "
    "that is estimated to (expectation and maximization). It is shown, never applied: no pile, threshold or "
    "promise hangs on it."
)


RANK = (
    "A list ends where fewer than {:g} further photos are expected. It rests on the order alone: with few "
    "labels the order may be right where no probability is."
)


KNOWN = (("Rank", "order"), ("Probability", "level"))


def _shares(row: dict[str, float | None]) -> tuple[str, str]:
    """How common a tag is among the labeled photos and, estimated, in this batch."""
    both = row.get("labelled"), row.get("batch")
    labeled, batch = ("cannot say" if one is None else f"{one:.0%}" for one in both)
    return labeled, batch


def _show(done: PresortResult) -> None:
    from triage.presort.look_first import MOST_FURTHER

    piles: dict[str, Counter[str]] = {tag: Counter() for tag in done.promise} | {
        tag: Counter(count) for tag, count in done.piles().items()
    }
    rows = [
        (
            tag,
            count["likely"],
            count["unsure"],
            count["unlikely"],
            done.promise[tag].standing,
            *_shares(done.prevalence.get(tag, {})),
        )
        for tag, count in piles.items()
        if tag in done.promise
    ]
    say(f"{done.photo_count} photos, {done.new} newly presorted by model {done.model[:12]}.")
    heads = ("tag", "likely", "unsure", "unlikely", "promise", "of labeled photos", "of these, about")
    say(table(rows, heads))
    if done.prevalence:
        say(SHARES)
    if done.look_first:
        say("Look here first (label ask --order dangerous), in the machine's order:")
        for tag, line in done.look_first.items():
            say(f"  {tag}: {line.sentence()}.")
            said = done.known.get(tag, {})
            for name, key in KNOWN:
                if key in said:
                    say(f"    {name}: {said[key]}")
        say(RANK.format(MOST_FURTHER))
    advise("Next: deck-triage label ask --order dangerous --by NAME, or deck-triage review")
    advise("After these lists, the parts on contact sheets: deck-triage presort --sheets")
