"""`compare`: two visits of a deck side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, say, table
from triage.domain.tiers import CAUTION, NOT_ENOUGH


@named("compare")
@click.argument("deck")
@click.option("--visits", nargs=2, metavar="DATE DATE", help="Two visits (default: the last two).")
@library_option
@json_option
def command(deck: str, visits: tuple[str, str] | None, library_path: Path | None, as_json: bool) -> Any:
    """Show what got better or worse between two visits, and what nobody looked at again.

    Examples:
    deck-triage compare D-17
    deck-triage compare D-17 --visits 2026-05-04 2026-09-01 --json
    """
    from triage.assess.compare import compare
    from triage.ingest import check_visit

    first, second = visits or (None, None)
    with open_library(library_path) as library:
        found = compare(library, deck, check_visit(first), check_visit(second))
    if as_json:
        emit(found.to_json() | {"caution": CAUTION})
        return
    for number, visit in enumerate(found.visits):
        tier = found.tiers[number] or NOT_ENOUGH
        say(f"{visit or '(no date)'}: {tier}; gaps: {found.gaps[number]}")
    rows = [(one.rule, one.place, one.status, one.change, one.tier_after or "-") for one in found.concerns]
    say(table(rows, ("rule", "place", "status", "change", "tier now")))
    for one in found.concerns:
        if one.remark:
            say(f"{one.rule}{f' at {one.place}' if one.place else ''}: {one.remark}")
    for row in found.grown:
        where = f" at {row.place}" if row.place else ""
        say(f"{row.what}{where}: {row.before} before, {row.after} now: {row.change}")
    say()
    say(CAUTION)
