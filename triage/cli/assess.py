"""`assess`: the per-deck risk summary, worst first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.batching import lots
from triage.cli._common import (
    advise,
    emit_list,
    json_option,
    library_option,
    named,
    open_library,
    progress_line,
    say,
    table,
)
from triage.domain.tiers import CAUTION, NOT_ENOUGH, ORDER_WORDS
from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library

_CONCERNS, _PHOTOS, _LINES = 4, 3, 3
"""How many of each a deck's lines show; `--json` has all."""
_LOT = 200


@named("assess")
@click.argument("decks", nargs=-1)
@click.option("--visit", metavar="DATE", help="What concerns that visit and earlier ones.")
@click.option("--as-of", metavar="TIME", help="Only what was recorded up to then.")
@click.option("--full", is_flag=True, help="Everything about every deck; the usual for decks that are named.")
@click.option(
    "--order",
    type=click.Choice(["danger", "look"]),
    default="danger",
    show_default=True,
    help="What to close or repair first, or where to go and see first.",
)
@library_option
@json_option
def command(
    decks: tuple[str, ...],
    visit: str | None,
    as_of: str | None,
    full: bool,
    order: str,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Rank the decks, worst first: one line a deck, or concerns, evidence and gaps of the decks named.

    Examples:
    deck-triage assess
    deck-triage assess --full
    deck-triage assess D-17 --json
    deck-triage assess --order look
    deck-triage assess --as-of 2026-05-04T18:00
    """
    from triage.assess.status import waiting_words
    from triage.ingest import check_visit

    with open_library(library_path) as library:
        summaries = _summaries(library, decks, check_visit(visit), as_of, order)
        waiting = waiting_words(library)
        if waiting:
            advise(waiting)
        if as_json:
            emit_list("decks", summaries)
            return
        if not (decks or full):
            _say_lines(summaries, order)
            return
        for lot in lots(enumerate(summaries, 1), _LOT):
            names = queries.photo_names(library, {sha for _, one in lot for sha in _shown(one)})
            waits = _awaiting(library, lot, whole=visit is None and as_of is None)
            for number, one in lot:
                _say_deck(number, one, names, order)
                for line in waits.get(one["deck"], ()):
                    say(f"   {line}")
    say()
    say(ORDER_WORDS[order])
    say(CAUTION)


def _awaiting(
    library: Library, lot: Sequence[tuple[int, dict[str, Any]]], whole: bool
) -> dict[str, list[str]]:
    """Return by deck what awaits a look after repairs; nothing where an earlier state is asked for."""
    from triage.cli.status import awaiting_lines
    from triage.report.awaiting import awaiting, decks_in_round

    mine = decks_in_round(library, {one["deck"] for _, one in lot}) if whole else []
    found = awaiting(library, mine) if mine else []
    return {
        deck: awaiting_lines([one for one in found if one.deck == deck], _PHOTOS)
        for deck in dict.fromkeys(one.deck for one in found)
    }


def _summaries(
    library: Library, decks: tuple[str, ...], visit: str | None, as_of: str | None, order: str
) -> Iterator[dict[str, Any]]:
    """Yield summaries, worst first: those kept beside the log where all decks are asked for as they stand."""
    from triage.assess import assess_library
    from triage.assess.cache.lines import standings

    if not decks and visit is None and as_of is None:
        return standings(library, progress_line(), order).summaries()
    found = assess_library(library, decks=list(decks) or None, visit=visit, as_of=as_of, order=order)
    return (one.to_json() for one in found)


def _say_lines(summaries: Iterator[dict[str, Any]], order: str) -> None:
    """Print one line a deck: tier, height, gaps and the finding that leads."""
    from triage.report.plan import height_words, lead_words

    rows = [
        (
            number,
            one["deck"],
            _tier(one),
            _if_true(one),
            height_words(one["height_class"]),
            one["gaps"],
            one["look_reason"] if order == "look" else lead_words(one),
        )
        for number, one in enumerate(summaries, 1)
    ]
    say(table(rows, ("", "deck", "tier", "if suggestions are true", "height", "gaps", "finding")))
    say()
    say(ORDER_WORDS[order])
    say("Everything about a deck: deck-triage assess DECK; about all of them: deck-triage assess --full.")
    say(CAUTION)


def _tier(one: dict[str, Any]) -> str:
    shown, person = one["tier_shown"], one["tier_by_person"]
    if shown != one["tier"]:
        return f"{shown} (by a person; computed: {one['tier'] or 'not enough seen'})"
    return (shown or "not enough seen") + (f" (a person: {person})" if person else "")


def _if_true(one: dict[str, Any]) -> str:
    return "" if one["tier_if_true"] == one["tier"] else one["tier_if_true"] or "not enough seen"


def _shown(one: dict[str, Any]) -> set[str]:
    return {sha for concern in one["concerns"][:_CONCERNS] for sha in concern["photos"][:_PHOTOS]}


def _say_deck(number: int, one: dict[str, Any], names: dict[str, str], order: str) -> None:
    tier = one["tier_shown"] or NOT_ENOUGH
    if one["tier_shown"] != one["tier"]:
        tier += f" (by a person; computed: {one['tier'] or NOT_ENOUGH})"
    say(f"{number}. {one['deck']}: {tier}; gaps: {one['gaps']}; {one['unreviewed']} questions open")
    if one["tier_if_true"] != one["tier"]:
        say(f"   if the machine's suggestions are true: {one['tier_if_true'] or NOT_ENOUGH}")
    if one["tier_by_person"]:
        say(
            f"   tier by a person: {one['tier_by_person']} ({one['tier_by_person_by']}:"
            f" {one['tier_by_person_why'].rstrip('.')})"
        )
    say(f"   {one['look_reason' if order == 'look' else 'reason']}")
    for concern in one["concerns"][:_CONCERNS]:
        photos = ", ".join(names.get(sha, sha[:12]) for sha in concern["photos"][:_PHOTOS])
        at = f" At {concern['place']}." if concern["place"] else ""
        closed = "closed, was " if concern["status"] == "repaired" else ""
        what = f"{closed}{concern['tier']} ({concern['standing']})"
        say(f"   - {what}: {concern['concluded']}{at} [{photos}]")
    for line in one["go_back_for"][:_LINES]:
        say(f"   go back for: {line}")
