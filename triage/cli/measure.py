"""`measure`: lengths in a photo that shows a card."""

from __future__ import annotations

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
from triage.errors import WrongUsage
from triage.library import queries

if TYPE_CHECKING:
    from triage.slate.bolts import Round
    from triage.slate.lengths import Length


@named("measure")
@click.argument("photo", metavar="PHOTO")
@click.option(
    "--points",
    multiple=True,
    metavar="X,Y",
    help="A point as fractions of the upright photo; several (or several pairs in one text) make a line.",
)
@click.option("--fact", "key", metavar="KEY", help="Keep the length as this fact of the deck.")
@click.option(
    "--ruler", "ruler_in", type=float, metavar="INCHES", help="What the card's ruler line measures."
)
@by_option
@library_option
@json_option
def command(
    photo: str,
    points: tuple[str, ...],
    key: str | None,
    ruler_in: float | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Tell lengths from each point to the next, in inches with a 95 % interval.

    The card must lie in the plane that is measured. Without points, round things of a bolt's size are listed
    for you to look at; they are no facts by themselves.

    Examples:
    deck-triage measure D-17/IMG_0440.jpg --points 0.21,0.40 --points 0.35,0.41
    deck-triage measure D-17/IMG_0440.jpg --points "0.2,0.4 0.3,0.4" --fact ledger_edge_in --by ann
    deck-triage measure D-17/IMG_0440.jpg
    """
    from triage.slate.bolts import rounds
    from triage.slate.facts import keep_length
    from triage.slate.measure import lengths
    from triage.slate.of_library import measurable_photo
    from triage.structure.telling import set_facts

    spots = [_point(text) for group in points for text in group.split()]
    if key and not spots:
        raise WrongUsage("A fact needs a length.", "Give two or more --points X,Y.")
    speaker = need_by(by) if key else ""
    with open_library(library_path) as library:
        one = queries.find_photo(library, photo)
        found, rgb = measurable_photo(library, one, ruler_in)
        told = lengths(found, spots) if spots else []
        seen = [] if spots else rounds(rgb, found)
        fact = {}
        if key:
            value = keep_length(key, told)
            fact = set_facts(library, one.deck, {key: value}, by=speaker, visit=one.visit, photos=[one])
    for remark in found.remarks:
        advise(remark)
    _show(told, seen, fact, as_json)


def _point(text: str) -> tuple[float, float]:
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError as error:
        raise WrongUsage(f"{text!r} is no point.", "Write X,Y, e.g. 0.21,0.40.") from error
    return x, y


def _show(told: list[Length], seen: list[Round], fact: dict[str, Any], as_json: bool) -> None:
    if as_json:
        rows = [one.to_json() for one in told]
        rounds = [one.to_json() for one in seen]
        emit({"lengths_in": rows, "rounds": rounds, "fact": fact})
        return
    for one in told:
        say(f"{one.inches:.2f} in (95 %: {one.low:.2f} to {one.high:.2f})")
    for ring in seen:
        say(f"round thing of {ring.across_in:.2f} in at {ring.x:.4f},{ring.y:.4f}")
    if not told and not seen:
        say("The card's plane is found; no round thing of a bolt's size stands out.")
    for key, value in fact.items():
        say(f"kept: {key} = {value}")
