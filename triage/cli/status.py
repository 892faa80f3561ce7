"""`status`: where the library stands and the one next thing to do."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.cli._common import advise, emit, json_option, library_option, named, open_library, say
from triage.domain.plurals import count_of
from triage.domain.vocabulary import SHOWS
from triage.platforms import weaknesses

if TYPE_CHECKING:
    from triage.report.awaiting import Pair

_SHOWN = 10
_ROUNDS = 100
"""So many decks are looked through for repairs that wait; 'repairs list' goes through all."""


def awaiting_lines(pairs: Sequence[Pair], most: int) -> list[str]:
    """Return what awaits a person's look after repairs, in lines; none where nothing does."""
    if not pairs:
        return []
    concerns: dict[tuple[str, str, str | None], list[Pair]] = {}
    for one in pairs:
        concerns.setdefault((one.deck, one.rule, one.place), []).append(one)
    number = len(concerns)
    lines = [count_of(number, "repair awaits your look:", "repairs await your look:")]
    for mine in list(concerns.values())[:most]:
        first = mine[0]
        where = f" at {first.place}" if first.place else ""
        photos = f"{first.names[0]} -> {first.names[1]}"
        more = f", and {len(mine) - 1} more" if len(mine) > 1 else ""
        lines.append(f"  {first.deck}: {first.concluded.rstrip('.')}{where}: {photos}{more}")
    if number > most:
        lines.append(f"  ... and {number - most} more")
    return [*lines, "Each with what is missing: deck-triage repairs list"]


def _say_people(questions: list[list[str]]) -> None:
    for one, other in questions:
        say(f"Are {one!r} and {other!r} one person? Say: deck-triage people same|apart {one!r} {other!r}")


def _say_look_first(first: dict[str, int], sheets_at: Path | None) -> None:
    """Say which photos to look at first, and whether parts wait on contact sheets of a library."""
    defects = {tag: number for tag, number in first.items() if not tag.startswith(SHOWS)}
    if defects:
        counts = ", ".join(f"{tag} {number}" for tag, number in defects.items())
        say(f"Look here first, photos that nobody has answered: {counts}.")
        if sheets_at is not None:
            say("Answer them before the contact sheets of parts, which find no defect:")
            say("  deck-triage label ask --order dangerous --by NAME")
    if sheets_at is not None:
        say(f"Proposed parts wait on contact sheets: deck-triage presort --sheets -L {sheets_at}")


@named("status")
@library_option
@json_option
def command(library_path: Path | None, as_json: bool) -> Any:
    """Where the library stands and the one next thing to do.

    Examples:
    deck-triage status -L season-2026
    """
    from triage.assess.status import drawn_lines, status_of, waiting_words
    from triage.report.awaiting import awaiting, decks_in_round

    with open_library(library_path) as library:
        status = status_of(library)
        rounds = decks_in_round(library)
        repaired = awaiting(library, rounds[:_ROUNDS]) if rounds else []
        path, waiting, drawn = library.path, waiting_words(library), drawn_lines(library)
    if as_json:
        more = max(0, len(rounds) - _ROUNDS)
        emit({**status, "awaiting": [one.to_json() for one in repaired], "awaiting_not_looked_through": more})
        return
    say(f"{path}: {status['decks']} decks, {status['photos']} photos, {status['labels']} labels,")
    say(f"{count_of(status['unreviewed'], 'question')} on core tags that no person has answered.")
    if waiting and status["step"] != "sort":
        say(waiting)
    for line in drawn:
        say(line)
    _say_people(status["people"])
    _say_look_first(status["look_first"], path if status["sheets_wait"] else None)
    for question in status["questions"][:_SHOWN]:
        proposed = f" Proposed: {question['proposal']}." if question["proposal"] else ""
        say(f"  {question['id']}  {question['reason']}{proposed}")
    for file in status["set_aside"][:_SHOWN]:
        say(f"  {file['id']}  set aside: {file['file']}: {file['reason']}")
    more = sum(max(0, len(status[what]) - _SHOWN) for what in ("questions", "set_aside"))
    if more:
        say(f"  ... and {more} more: deck-triage decks questions -L {path}")
    if status["questions"]:
        say(f"Answer as proposed: deck-triage decks answer ID -L {path} --by NAME; or with --deck DECK.")
    if status["set_aside"]:
        say(f"Strike a file off the list: deck-triage decks answer ID --seen -L {path} --by NAME")
    for one in awaiting_lines(repaired, _SHOWN):
        say(one)
    if len(rounds) > _ROUNDS:
        say(f"{len(rounds) - _ROUNDS} more decks were visited again: deck-triage repairs list -L {path}")
    say(f"Next: {status['next']}")
    for weakness in weaknesses():
        advise(weakness)
