"""`label`: ask, set, log, read, write."""

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
from triage.errors import WrongUsage
from triage.library import queries


@click.group("label")
def command() -> None:
    """Say what photos show."""


@named("set")
@click.argument("photo")
@click.argument("answers", nargs=-1, required=True, metavar="TAG=present|absent|unclear...")
@click.option(
    "--box",
    "boxes",
    multiple=True,
    metavar="X,Y,W,H",
    help="Where, as fractions of the upright photo; zero size is a point; only with one tag.",
)  # noqa: E501
@click.option("--place", metavar="TEXT", help="Where on the deck, e.g. 'joist 4 of 14, house side'.")
@click.option("--count", type=click.IntRange(0, 1_000_000), help="How many of them.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@by_option
@library_option
@json_option
def set_(
    photo: str,
    answers: tuple[str, ...],
    boxes: tuple[str, ...],
    place: str | None,
    count: int | None,
    note: str | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Say what one photo shows, one answer per tag.

    Examples:
    deck-triage label set D-17/IMG_0412.jpg missing-hanger=present --box 0.41,0.30,0.12,0.20 --by ann
    deck-triage label set 3fa91c20 rusted-connector=absent shows-hanger=present --by ann
    """
    from triage.label.rows import give_labels

    given = dict(_answer(one) for one in answers)
    with open_library(library_path) as library:
        labels = give_labels(
            library,
            [(queries.find_photo(library, photo), given)],
            by=need_by(by),
            boxes=[_box(one) for one in boxes],
            place=place,
            count=count,
            note=note,
        )
    rows = [
        {"photo": one.photo, "tag": one.tag, "value": one.value, "by": one.by, "at": one.at} for one in labels
    ]
    if as_json:
        emit(rows)
    else:
        for row in rows:
            say(f"{row['photo'][:12]} {row['tag']} = {row['value']} (by {row['by']})")


def _answer(text: str) -> tuple[str, str]:
    tag, equals, value = text.partition("=")
    if not equals:
        raise WrongUsage(f"{text!r} is not a valid answer.", "Write TAG=present, TAG=absent or TAG=unclear.")
    return tag, value


def _box(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError as error:
        raise WrongUsage(
            f"{text!r} is not a valid box.", "Write X,Y,W,H, e.g. 0.41,0.30,0.12,0.20."
        ) from error


@named("log")
@click.argument("photo", required=False)
@library_option
@json_option
def log(photo: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Who said what, when, how it was asked, and what it replaced; undone rows too.

    Examples:
    deck-triage label log D-17/IMG_0412.jpg
    """
    with open_library(library_path) as library:
        sha = queries.find_photo(library, photo).sha if photo else None
        with library.read() as connection:
            rows = queries.label_log(connection, sha)
    if as_json:
        emit(rows)
        return
    shown = [
        (
            row["at"],
            row["by"],
            row["photo"][:12],
            row["tag"],
            row["value"],
            row["replaced"],
            row["asked_by"],
            "yes" if row["saw_machine"] else "no",
            "undone" if row["undone"] else "",
        )
        for row in rows
    ]
    heads = ("at", "by", "photo", "tag", "value", "replaced", "asked by", "saw the machine's word", "")
    say(table(shown, heads))


@named("read")
@click.argument("path", type=click.Path(path_type=Path))
@click.option(
    "--map",
    "mapping",
    type=click.Path(path_type=Path, exists=True),
    help="TOML that maps foreign categories to tags.",
)  # noqa: E501
@click.option("--visit", metavar="DATE", help="The visit that the photos are of, where the file names none.")
@dry_run_option
@by_option
@library_option
@json_option
def read(
    path: Path,
    mapping: Path | None,
    visit: str | None,
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Read labels from a CSV file, a COCO file or a folder tree; a row read before is known.

    Columns: photo,deck,tag,value,by,at,box,place,count,asked_by,saw_machine,note (the first four are needed).
    Where two visits of a deck have a photo of one name, a column visit or --visit says which is meant; a row
    whose photo is not of that visit is set aside.

    Examples:
    deck-triage label read labels.csv --by ann
    deck-triage label read coco.json --map categories.toml --by ann
    """
    from triage.ingest import check_visit
    from triage.label.rows import store_rows

    day = check_visit(visit)
    with open_library(library_path) as library:
        if path.is_dir() or path.suffix.lower() == ".json":
            from triage.exchange import read_labels_file

            rows, set_aside = read_labels_file(library, path, mapping)
        else:
            from triage.label.files import read_csv_rows

            rows, set_aside = read_csv_rows(path)
        result = store_rows(library, rows, set_aside, by=by, visit=day, dry_run=dry_run)
    if as_json:
        emit(result.to_json())
    else:
        say(f"{result.rows} rows: {result.new} new, {result.known} known, {len(result.set_aside)} set aside.")
    for one in result.set_aside[:20]:
        advise(f"Row {one.row} set aside: {one.reason}")
    if len(result.set_aside) > 20:
        advise(f"... and {len(result.set_aside) - 20} more; --json lists all.")
    return exit_for(bool(result.set_aside))


@named("write")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--deck", metavar="D", help="Only this deck.")
@click.option("--show-names", is_flag=True, help="People by their names, with places and notes.")
@click.option("--with-text", is_flag=True, help="Places and notes beside pseudonyms; they may name people.")
@library_option
@json_option
def write(
    path: Path, deck: str | None, show_names: bool, with_text: bool, library_path: Path | None, as_json: bool
) -> Any:
    """Write the current labels as CSV; people are pseudonyms unless their names are asked for.

    Use --show-names where another library is to take the labels over with their authors.

    Examples:
    deck-triage label write labels.csv
    deck-triage label write labels.csv --show-names
    """
    from triage.label.rows import labels_file

    with open_library(library_path) as library:
        count = labels_file(library, path, deck, show_names=show_names, with_text=with_text)
    if as_json:
        emit({"rows": count, "file": str(path)})
    else:
        say(f"Wrote {count} rows to {path}.")


_ORDERS = ("deck", "doubtful", "dangerous", "learning", "taken")


@named("ask")
@click.option("--deck", metavar="D", help="Only this deck.")
@click.option("--tag", "tags", multiple=True, metavar="T", help="Only this tag (several times for several).")
@click.option("--order", type=click.Choice(_ORDERS), default="deck", show_default=True)
@click.option("--like", metavar="PHOTO", help="Photos that look like this one first.")
@click.option(
    "--second-look",
    type=click.IntRange(1),
    metavar="N",
    help="N photos that somebody else labeled, without those labels.",
)  # noqa: E501
@click.option(
    "--pixels",
    type=click.Choice(["auto", "kitty", "sixel", "blocks"]),
    default="auto",
    show_default=True,
    help="How photos are drawn: as the terminal says it can, by a graphics protocol, or by characters.",
)
@click.option(
    "--elements/--no-elements",
    default=True,
    help="Ask which parts each photo shows, too (deck by deck, where no --tag is given).",
)
@by_option
@library_option
def ask(
    deck: str | None,
    tags: tuple[str, ...],
    order: str,
    like: str | None,
    second_look: int | None,
    pixels: str,
    elements: bool,
    by: str | None,
    library_path: Path | None,
) -> Any:
    """Open the labeling screen in this terminal: one photo and one question at a time, saved at every key.

    `--order learning` asks what would teach the models most, at most 200 photos a tag; train, presort, then
    ask again. It and `--like` ask about one photo of several near-duplicates.

    `--order dangerous` goes photo by photo: first the lists to look at of tags that may close a deck, in turn
    with the decks in their order; once a deck is found its other photos wait until these lists are through.
    The first line counts down how many photos are left of them, then of the other lists. Contact sheets of
    parts come after the lists, because no deck is found while sheets are confirmed; what is on no list comes
    last, deck by deck, together with what the sheets left open.

    Deck by deck it asks photo by photo which parts are shown, each with the tags that hang on it: 'no ledger
    here' answers 'nail-only ledger' too. --no-elements asks the core tags only.

    Examples:
    deck-triage label ask --by ann
    deck-triage label ask --no-elements --by ann
    deck-triage label ask --order dangerous --by ann
    deck-triage label ask --order learning --tag missing-hanger --by ann
    deck-triage label ask --deck D-17 --tag missing-hanger --by ann
    deck-triage label ask --second-look 40 --by ben
    """
    from triage.terminal import ask_in_terminal

    with open_library(library_path) as library:
        left = ask_in_terminal(
            library,
            by=need_by(by),
            deck=deck,
            tags=tags,
            order=order,
            like=like,
            second_look=second_look,
            pixels=pixels,
            elements=elements,
        )
        if left is None:
            say(f"{by} has answered everything that would be asked.")
            advise(f"Next: deck-triage status -L {library.path}")
        return left or 0


for _one in (ask, set_, log, read, write):
    command.add_command(_one)
