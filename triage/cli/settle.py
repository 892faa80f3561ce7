"""`settle`: ends a dispute."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._acts import explain_option
from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say
from triage.errors import WrongUsage
from triage.library import queries


@named("settle")
@click.argument("photo")
@click.argument("answer", metavar="TAG=present|absent|unclear")
@click.option("--why", required=True, metavar="TEXT", help="The reason; it is kept with the settlement.")
@explain_option("settle")
@by_option
@library_option
@json_option
def command(
    photo: str, answer: str, why: str, by: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """End a dispute over what a photo shows. Where people agree there is nothing to settle.

    Examples:
    deck-triage settle --explain
    deck-triage settle D-17/IMG_0412.jpg missing-hanger=present --why 'toe nails only' --by cy
    """
    from triage.label.rows import settle

    tag, equals, value = answer.partition("=")
    if not equals:
        raise WrongUsage(f"{answer!r} is not an answer.", "Write TAG=present, TAG=absent or TAG=unclear.")
    with open_library(library_path) as library:
        row = settle(library, queries.find_photo(library, photo), tag, value, why=why, by=need_by(by))
    if as_json:
        emit([row])
    else:
        say(f"Settled {row['photo'][:12]} {tag} = {value} (by {row['by']}).")
