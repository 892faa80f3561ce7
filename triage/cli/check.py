"""`check`: structural checks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, say
from triage.domain.tiers import CAUTION
from triage.errors import NoLibrary
from triage.library import queries


@named("check")
@click.argument("decks", nargs=-1)
@click.option(
    "--facts", "facts_file", type=click.Path(path_type=Path), help="Check a facts file; no library is needed."
)
@click.option("--explain", is_flag=True, help="Print the table that makes tiers of faults, with its sources.")
@library_option
@json_option
def command(
    decks: tuple[str, ...], facts_file: Path | None, explain: bool, library_path: Path | None, as_json: bool
) -> Any:
    """Compare what is there with published tables and with mechanics: demand, capacity, ratio, source.

    A check never says that a deck is safe, and its verdict never changes the exit code.

    Examples:
    deck-triage check D-17
    deck-triage check --facts facts.toml --json
    deck-triage check --explain
    """
    if explain:
        _explain(library_path, as_json)
        return
    from triage.structure import run_checks

    if facts_file is not None:
        from triage.structure.telling import latest_of_file

        facts_of = latest_of_file(facts_file, list(decks))
    else:
        from triage.assess.said import known_deck

        with open_library(library_path) as library:
            chosen = [known_deck(library, deck) for deck in decks] or queries.decks(library)
            facts_of = {
                deck: {key: fact.value for key, fact in queries.facts(library, deck).items()}
                for deck in chosen
            }
    checks = {deck: run_checks(facts) for deck, facts in facts_of.items()}
    if as_json:
        found = {deck: [one.to_json() for one in rows] for deck, rows in checks.items()}
        emit({"decks": found, "caution": CAUTION})
        return
    for deck, rows in checks.items():
        say(f"{deck}")
        for one in rows:
            if one.ratio is None:
                numbers = ""
            else:
                numbers = (
                    f" {one.demand:g} {one.unit} against {one.capacity:g} {one.unit} (ratio {one.ratio:.2f})"
                )
            missing = f" Missing: {', '.join(one.missing)}." if one.missing else ""
            say(f"  {one.check}: {one.verdict}{numbers}. {one.why}{missing} [{one.source}]")
    say()
    say(CAUTION)


def _explain(library_path: Path | None, as_json: bool) -> None:
    """Print the severity matrix: the library's own where one is at hand, else the shipped one."""
    from triage.assess.severity import explained, load_matrix

    try:
        with open_library(library_path) as library:
            matrix = load_matrix(library.own_severity)
    except NoLibrary:
        matrix = load_matrix(None)
    if as_json:
        emit(matrix.to_json() | {"caution": CAUTION})
        return
    for line in explained(matrix):
        say(line)
    say()
    say(CAUTION)
