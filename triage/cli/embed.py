"""`embed`: vectors of photos that have none."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import (
    advise,
    emit,
    engine_options,
    exit_for,
    json_option,
    library_option,
    named,
    open_library,
    progress_line,
    say,
)
from triage.domain.plurals import count_of


@named("embed")
@click.option(
    "--deck", "decks", multiple=True, metavar="D", help="Only this deck (several times for several)."
)
@engine_options
@library_option
@json_option
def command(
    decks: tuple[str, ...], engine: str, dask: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Compute and keep the vectors of photos that have none (train and presort do it too).

    Examples:
    deck-triage embed --deck D-17
    deck-triage embed --engine dask --dask tcp://127.0.0.1:8786
    """
    from triage.features.keep import embed_photos
    from triage.presort.of_library import photos_of

    with open_library(library_path) as library:
        shas = [photo.sha for photo in photos_of(library, decks)]
        done = embed_photos(library, shas, engine=engine, dask=dask, progress=progress_line())
    if as_json:
        emit({"photos": done.photos, "new": done.new})
    else:
        say(f"{count_of(done.photos, 'photo has', 'photos have')} vectors; {done.new} of them new.")
    for sha, reason in done.set_aside:
        advise(f"Photo {sha[:12]} set aside: {reason}")
    return exit_for(bool(done.set_aside))
