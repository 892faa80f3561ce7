"""`close`: a named person closes a concern; before that, which photo shows the place after the repair."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._acts import explain_option
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
from triage.domain.plurals import count_of
from triage.errors import DONE, WrongUsage
from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library


@named("close")
@click.argument("deck")
@click.argument("rule", required=False)
@click.option("--place", metavar="TEXT", help="Where on the deck.")
@click.option(
    "--before",
    "befores",
    metavar="PHOTO",
    multiple=True,
    help="The photo that showed the concern; may be repeated.",
)
@click.option("--after", metavar="PHOTO", help="The photo of the same place after the repair.")
@click.option(
    "--same-place", is_flag=True, help="You compared both photos, and they show one and the same place."
)
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
@explain_option("close")
@by_option
@library_option
@json_option
def command(
    deck: str,
    rule: str | None,
    place: str | None,
    befores: tuple[str, ...],
    after: str | None,
    same_place: bool,
    why: str | None,
    propose: bool,
    limit: int,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Close a concern with a later photo of the same place.

    The photo after belongs to a later visit, and a person answered on it that it shows the part and that the
    defect is absent; --explain prints every condition. Photos of the concern that are not closed stay open and
    are listed.

    Of two photos with one name, --before means the earlier visit's and --after the later's; to be exact, put the
    visit between deck and name: D-17/2026-05-04/a.jpg.

    With --propose nothing is closed: the later photos are listed that likeliest show the place of the photo
    before. You look at them and close with the one that does.

    Examples:
    deck-triage close --explain
    deck-triage close D-17 --propose --before D-17/a.jpg
    deck-triage close D-17 missing-hanger --place 'joist 4' --before D-17/a.jpg --after D-17/b.jpg --why 'hanger set' --by ann
    deck-triage close D-17 nail-only-ledger-low --before D-17/c.jpg --after D-17/d.jpg --same-place --place 'left end' --why 'bolted' --by ann
    """  # noqa: E501
    if propose:
        if not befores:
            raise WrongUsage("Which photo showed the concern is not said.", "Name it with --before PHOTO.")
        with open_library(library_path) as library:
            _propose(library, deck, befores[:1], limit, as_json)
        return DONE
    if not (rule and befores and after and why):
        given = {"RULE": rule, "--before": befores, "--after": after, "--why": why}
        missing = ", ".join(name for name, value in given.items() if not value)
        raise WrongUsage(
            f"Closing a concern also needs {missing}.",
            f"Find rules and photos with: deck-triage assess {deck}. Find the photo after the repair with:"
            f" deck-triage close {deck} --propose --before PHOTO",
        )
    from triage.assess.acts import close, pair_named

    with open_library(library_path) as library:
        photos_before, photo_after = pair_named(library, deck, befores, after)
        row = close(
            library,
            deck,
            rule,
            place=place,
            before=photos_before,
            after=photo_after or queries.find_photo(library, after),
            why=why,
            by=need_by(by),
            same_place=same_place,
        )
    if as_json:
        emit(row)
        return DONE
    say(f"Closed {rule} on {deck}.")
    if row["remaining"]:
        left = len(row["remaining"])
        say(f"{count_of(left, 'photo is', 'photos are')} still open:")
        for one in row["remaining"]:
            say(f"  {one['name']}: {one['rule']}" + (f" at {one['place']}" if one["place"] else ""))
    return DONE


def _propose(library: Library, deck: str, befores: tuple[str, ...], limit: int, as_json: bool) -> None:
    from triage.assess.acts import pair_named
    from triage.assess.said import known_deck
    from triage.matching import propose_places

    (photo,), _ = pair_named(library, known_deck(library, deck), befores, None)
    found = propose_places(library, deck, photo, limit=limit, progress=progress_line())
    if as_json:
        emit([one.to_json() for one in found])
        return
    before = queries.name_of(library, photo)
    if not found:
        say(f"No photo of {deck} was taken after {before}.")
        return
    rows = [(queries.name_of(library, one.photo), one.photo.visit, one.why) for one in found]
    say(table(rows, ("photo", "visit", "why")))
    say(
        "Look at them: only a person says that two photos show one place. Then: deck-triage close"
        f" {deck} RULE --place TEXT --before {before} --after PHOTO --why TEXT"
    )
