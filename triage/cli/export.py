"""`export`: the library in open formats."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import (
    advise,
    emit,
    exit_for,
    json_option,
    library_option,
    named,
    open_library,
    progress_line,
    say,
)
from triage.domain.plurals import count_of
from triage.errors import WrongUsage

_SHOWN = 20


@named("export")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--as", "kind", required=True, type=click.Choice(["csv", "parquet", "coco", "croissant", "xmp"])
)
@click.option("--split", metavar="A,B,C", help="Shares of the photos, by deck, e.g. 0.7,0.15,0.15.")
@click.option("--seed", metavar="S", help="Any text; the same seed splits the same way (else one is made).")
@click.option("--show-names", is_flag=True, help="With the names of people and their notes.")
@click.option("--pseudonyms", is_flag=True, help="People as pseudonyms, without notes: the default.")
@click.option("--with-text", is_flag=True, help="Places and notes too: look through them first for names.")
@click.option("--show-position", is_flag=True, help="With the positions; they are left out otherwise.")
@click.option(
    "--pictures",
    type=click.Choice(["none", "renditions", "full"]),
    help="Upright JPEGs without metadata (default: none for csv and parquet).",
)
@library_option
@json_option
def command(
    folder: Path,
    kind: str,
    split: str | None,
    seed: str | None,
    show_names: bool,
    pseudonyms: bool,
    with_text: bool,
    show_position: bool,
    pictures: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Write the library in open formats, with a datasheet; people are pseudonyms unless asked.

    Serial numbers and owners are never written, and blackouts are painted into every picture.

    Examples:
    deck-triage export out --as csv
    deck-triage export out --as coco --split 0.7,0.15,0.15 --seed 2026 --pseudonyms
    deck-triage export out --as xmp --pictures none
    """
    from triage.exchange import export_library

    if show_names and pseudonyms:
        raise WrongUsage("--show-names and --pseudonyms do not go together.", "Leave one out.")
    with open_library(library_path) as library:
        done = export_library(
            library,
            folder,
            kind,
            split=_shares(split),
            seed=seed,
            pseudonyms=not show_names,
            with_text=with_text,
            show_position=show_position,
            pictures=pictures,
            progress=progress_line(),
        )
    if as_json:
        aside = [{"file": name, "reason": reason} for name, reason in done.set_aside]
        emit({"files": [str(file) for file in done.files], "seed": done.seed, "set_aside": aside})
    else:
        drawn = f" Split by seed {done.seed}." if done.seed else ""
        say(f"Wrote {count_of(len(done.files), 'file')} to {folder}.{drawn}")
    for name, reason in done.set_aside[:_SHOWN]:
        advise(f"Set aside {name}: {reason}")
    return exit_for(bool(done.set_aside))


def _shares(text: str | None) -> tuple[float, ...]:
    if text is None:
        return ()
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError as error:
        raise WrongUsage(f"{text!r} is no split.", "Write e.g. --split 0.7,0.15,0.15") from error
