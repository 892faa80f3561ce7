"""`slate`: cards to print that sort a batch by themselves and serve as a ruler."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, say
from triage.library import queries


@named("slate")
@click.argument("decks", nargs=-1, required=True, metavar="DECK...")
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="The PDF.")
@click.option("--paper", type=click.Choice(["letter", "a4", "pocket"]), default="letter", show_default=True)
@click.option("--visit", metavar="DATE", help="The day of the visit, printed and in the code.")
@click.option("--closing", is_flag=True, help="An END card for each deck too: it makes the sorting surer.")
@library_option
@json_option
def command(
    decks: tuple[str, ...],
    out: Path,
    paper: str,
    visit: str | None,
    closing: bool,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Write cards for decks, known or new: print them on both sides at 100 %, without 'fit to page'.

    Photograph the START card first at each deck; 'ingest --deck-from slate' then knows what follows. Tape it
    in the plane of the ledger, and 'measure' can tell lengths. The deck's code is printed, never an address.

    Examples:
    deck-triage slate D-17 D-18 --out cards.pdf
    deck-triage slate D-17 --out cards.pdf --paper pocket --closing --visit 2026-05-04
    """
    from triage.assess.shots import shot_list
    from triage.ingest import check_visit
    from triage.slate.draw import write_cards
    from triage.slate.of_library import deck_cards

    with open_library(library_path) as library:
        cards = deck_cards(library, list(decks), paper, check_visit(visit), closing)
        shots = {
            deck: shot_list({key: fact.value for key, fact in queries.facts(library, deck).items()})
            for deck in decks
        }
    write_cards(out, cards, shots)
    if as_json:
        emit({"files": [str(out)]})
    else:
        say(f"Wrote {len(cards)} cards with their backs to {out}. Print at 100 %, on both sides.")
