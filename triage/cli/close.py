"""`close`: a named person closes a concern; before that, which photo shows the place after the repair."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import (
    by_option,
    emit,
    json_option,
    library_option,
    named,
    need_by,
    open_library,
    progress_line,
    say,
    table,
)
from triage.errors import WrongUsage

if TYPE_CHECKING:
    from triage.library import Library


@named("close")
@click.argument("deck")
@click.argument("rule", required=False)
@click.option("--place", metavar="TEXT", help="Where on the deck.")
@click.option("--before", metavar="PHOTO", help="The photo that showed the concern.")
@click.option("--after", metavar="PHOTO", help="The photo of the same place after the repair.")
@click.option("--why", metavar="TEXT", help="What was repaired and how it was checked.")
@click.option("--propose", is_flag=True, help="Close nothing: list the later photos that may show the place.")
@click.option(
    "--n",
    "limit",
    type=click.IntRange(1, 100),
    default=5,
    show_default=True,
    help="With --propose: so many photos.",
)
@by_option
@library_option
@json_option
def command(
    deck: str,
    rule: str | None,
    place: str | None,
    before: str | None,
    after: str | None,
    why: str | None,
    propose: bool,
    limit: int,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Close a concern with an after-photo of the same place.

    With --propose nothing is closed: the later photos are listed that likeliest show the place of the photo
    before. You look at them and close with the one that does.

    Examples:
    deck-triage close D-17 --propose --before D-17/a.jpg
    deck-triage close D-17 missing-hanger --place 'joist 4' --before D-17/a.jpg --after D-17/b.jpg --why 'hanger set' --by ann
    """  # noqa: E501
    if propose:
        if before is None:
            raise WrongUsage("Which photo showed the concern is not said.", "Name it with --before PHOTO.")
        with open_library(library_path) as library:
            _propose(library, deck, before, limit, as_json)
        return
    if not (rule and place and before and after and why):
        given = {"RULE": rule, "--place": place, "--before": before, "--after": after, "--why": why}
        missing = ", ".join(name for name, value in given.items() if not value)
        raise WrongUsage(
            f"A closing also needs {missing}.",
            "Rules and photos stand in: deck-triage assess. Which photo may show the place after the repair:"
            " deck-triage close DECK --propose --before PHOTO",
        )
    from triage.assess.said import close

    with open_library(library_path) as library:
        row = close(
            library,
            deck,
            rule,
            place=place,
            before=library.photo(before),
            after=library.photo(after),
            why=why,
            by=need_by(by),
        )
    if as_json:
        emit(row)
    else:
        say(f"Closed {rule} on {deck}.")


def _propose(library: Library, deck: str, before: str, limit: int, as_json: bool) -> None:
    from triage.assess.said import known_deck
    from triage.matching import propose_places

    photo = library.photo(before)
    found = propose_places(library, known_deck(library, deck), photo, limit=limit, progress=progress_line())
    if as_json:
        emit([one.to_json() for one in found])
        return
    if not found:
        say(f"No photo of {deck} was taken after {photo.path_name}.")
        return
    say(table([(one.photo.path_name, one.photo.visit, one.why) for one in found], ("photo", "visit", "why")))
    say(
        "Look at them: only a person says that two photos show one place. Then: deck-triage close"
        f" {deck} RULE --place TEXT --before {photo.path_name} --after PHOTO --why TEXT"
    )
