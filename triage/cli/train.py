"""`train`: one small model per tag on this library's labels."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import (
    advise,
    by_option,
    emit,
    exit_for,
    json_option,
    library_option,
    named,
    open_library,
    progress_line,
    say,
    someone,
    table,
)

if TYPE_CHECKING:
    from triage.train.of_library import TrainResult


@named("train")
@click.option("--tag", "tags", multiple=True, metavar="T", help="Only this tag (several times for several).")
@click.option(
    "--promise",
    type=click.FloatRange(0.001, 0.5),
    default=0.05,
    show_default=True,
    help="Share of a deck's defects that may be missed in the unlikely pile.",
)
@click.option(
    "--keep",
    type=click.Choice(["new", "old"]),
    help="Overrule which of the new and the previous model stays.",
)
@by_option
@library_option
@json_option
def command(
    tags: tuple[str, ...],
    promise: float,
    keep: str | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Train on this library's labels, one model per tag, split by deck, calibrated, with a model card.

    A tag with too few labels gets no model; the output says how many are missing (exit code 3).

    Examples:
    deck-triage train
    deck-triage train --tag missing-hanger --promise 0.02
    """
    from triage.train.of_library import train_library

    with open_library(library_path) as library:
        trained = train_library(
            library, by=someone(by), tags=tags, promise_rate=promise, keep=keep, progress=progress_line()
        )
    if as_json:
        emit(trained.to_json())
    else:
        _show(trained)
    for sha, reason in trained.set_aside:
        advise(f"Photo {sha[:12]} set aside: {reason}")
    return exit_for(trained.partly)


def _show(trained: TrainResult) -> None:
    from triage.train.report import interval_words

    rows = []
    for tag, row in trained.tags.items():
        precision = row["average_precision"]
        shown = "no figure" if precision is None else f"{precision:.2f}"
        words = interval_words(precision, row["average_precision_low"], row["average_precision_high"])
        shown = f"{shown} {words}".rstrip()
        promise = row["promise"]
        held = f"at most {promise['miss_rate']:.0%} missed" if promise["holds"] else promise["why_not"]
        rows.append((tag, row["present"], row["absent"], row["decks"], shown, row.get("why_not") or held))
    say(table(rows, ("tag", "present", "absent", "decks", "average precision (95 %)", "promise")))
    for tag, one in trained.compared.items():
        say(f"{tag}: {one['verdict']} ({one['old']:.3f} before, {one['new']:.3f} now, on the same folds)")
    for tag in trained.other_features:
        say(
            f"{tag}: the earlier model was made on other features, so it cannot be used or compared any more."
        )
    for decks in sorted({tuple(one) for row in trained.tags.values() for one in row["look_alike_decks"]}):
        say(f"Taken as one deck, because they share look-alike photos: {', '.join(decks)}.")
    if trained.kept == "unchanged":
        say("Nothing has changed since the last training.")
    if trained.model:
        say(f"Model {trained.model[:12]} is in use.")
        advise("Next: deck-triage presort")
