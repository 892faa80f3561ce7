"""`blackout`: boxes over a face or a plate, painted into the pictures of reports."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import by_option, emit, json_option, library_option, named, need_by, open_library, say
from triage.errors import WrongUsage
from triage.library import queries


@named("blackout")
@click.argument("photo")
@click.option("--box", "boxes", multiple=True, metavar="X,Y,W,H", help="Fractions of the upright photo.")
@click.option("--none", "take_away", is_flag=True, help="Take the photo's boxes away.")
@by_option
@library_option
@json_option
def command(
    photo: str,
    boxes: tuple[str, ...],
    take_away: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Say which parts of a photo are painted black in reports; without a box, list those that are.

    The boxes given replace those of before. The original and what the screens show stay as they are.

    Examples:
    deck-triage blackout D-17/IMG_0412.jpg --box 0.62,0.10,0.12,0.18 --by ann
    deck-triage blackout D-17/IMG_0412.jpg --none --by ann
    deck-triage blackout D-17/IMG_0412.jpg
    """
    from triage.imaging.blackout import blackouts
    from triage.report import black_out

    if boxes and take_away:
        raise WrongUsage("--box and --none do not go together.")
    with open_library(library_path) as library:
        one = queries.find_photo(library, photo)
        if boxes or take_away:
            black_out(library, one.sha, [_four(text) for text in boxes], by=need_by(by))
        now = blackouts(library).get(one.sha, ())
    if as_json:
        emit({"photo": one.sha, "boxes": [list(box) for box in now]})
        return
    say(f"{one.path_name}: {len(now)} blacked out in reports.")
    for box in now:
        say("  " + ",".join(f"{number:g}" for number in box))


def _four(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError as error:
        raise WrongUsage(
            f"{text!r} is not a valid box.", "Write X,Y,W,H, e.g. 0.62,0.10,0.12,0.18."
        ) from error
