"""`assess`: the per-deck risk summary, worst first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import advise, emit, json_option, library_option, named, open_library, say
from triage.words.tiers import CAUTION, NOT_ENOUGH


@named("assess")
@click.argument("decks", nargs=-1)
@click.option("--visit", metavar="DATE", help="What concerns that visit and earlier ones.")
@click.option("--as-of", metavar="TIME", help="Only what was recorded up to then.")
@library_option
@json_option
def command(
    decks: tuple[str, ...], visit: str | None, as_of: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Rank the decks, worst first, each with its concerns, evidence, gaps and what to go back for.

    Examples:
    deck-triage assess
    deck-triage assess D-17 --json
    deck-triage assess --as-of 2026-05-04T18:00
    """
    from triage.assess import assess_library
    from triage.assess.status import waiting_words
    from triage.ingest import check_visit

    with open_library(library_path) as library:
        visit = check_visit(visit)
        summaries = assess_library(library, decks=list(decks) or None, visit=visit, as_of=as_of)
        waiting = waiting_words(library)
        shown = library.photos() if not decks else [one for deck in decks for one in library.photos(deck)]
        names = {photo.sha: photo.name for photo in shown}
    if waiting:
        advise(waiting)
    if as_json:
        emit({"decks": [one.to_json() for one in summaries]})
        return
    for number, one in enumerate(summaries, 1):
        tier = one.tier or NOT_ENOUGH
        say(f"{number}. {one.deck}: {tier}; gaps: {one.gaps}; {one.unreviewed} questions open")
        if one.tier_if_true != one.tier:
            say(f"   if the machine's suggestions are true: {one.tier_if_true or NOT_ENOUGH}")
        if one.tier_by_person:
            say(f"   tier by a person: {one.tier_by_person}")
        say(f"   {one.reason}")
        for concern in one.concerns[:4]:
            photos = ", ".join(names.get(sha, sha[:12]) for sha in concern.photos[:3])
            say(f"   - {concern.tier} ({concern.standing}): {concern.concluded} [{photos}]")
        for line in one.go_back_for[:3]:
            say(f"   go back for: {line if isinstance(line, str) else line.what}")
    say()
    say(CAUTION)
