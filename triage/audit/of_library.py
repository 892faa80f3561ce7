"""The audit of missed defects on a library: reads words and piles, records the event, withdraws a promise."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from sqlalchemy import update

from triage.audit.columns import Bytes, Cancel, Columns, Progress, read_columns, read_piles
from triage.audit.draw import new_seed, ticket
from triage.audit.missed_tag import Missed, Promised, Question, audit_tag
from triage.errors import BadInput, Cancelled, WrongUsage
from triage.library.database import writing
from triage.library.listeners import all_changed
from triage.library.tables import suggestion

if TYPE_CHECKING:
    from triage.library.library import Library


def missed(
    library: Library,
    n: int | None = None,
    *,
    seed: str | None = None,
    by: str | None = None,
    tags: Sequence[str] | None = None,
    confidence: float = 0.95,
    early: bool = False,
    strata: bool = False,
    record: bool = True,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> dict[str, Missed]:
    """Audit the pile `unlikely` of each presorted tag (or of the named ones); see `audit_tag`.

    Drawn photos without an answer stand in `asked`: label them with `asked_by` audit and call again with the
    same seed. A finished audit is recorded as the event `audited` by `by`, once; when it contradicts the
    promise, the tag's photos leave the pile `unlikely` until it is trained again. Raises BadInput when no
    model or no suggestion is there, or a named tag has none; WrongUsage for a finished audit that
    nobody speaks for.
    """
    model = library.model()
    if model is None:
        raise BadInput(
            "No model was trained on this library, so it has let nothing through.", "Train one first."
        )
    columns = read_columns(library)
    piles = read_piles(library, model, columns)
    words, _ = columns.put_together()
    words = np.vstack([words, np.zeros((len(piles) - len(words), words.shape[1]), dtype=np.uint8)])
    wanted = _tags(columns, piles, tags)
    seed = seed or new_seed()
    order = np.array(
        sorted(range(len(columns.photos)), key=lambda place: ticket(seed, columns.photos[place])),
        dtype=np.intp,
    )
    promises = _promises(library)
    result = {}
    for done, tag in enumerate(wanted):
        if cancel is not None and cancel():
            raise Cancelled("The audit was stopped.")
        if progress is not None:
            progress("audit", done, len(wanted))
        code = columns.tags.index(tag)
        question = Question(
            tag, model, seed, words[code], piles[code], order, columns.photos, promises.get(tag)
        )
        result[tag] = audit_tag(question, n, confidence=confidence, early=early, strata=strata)
    if record:
        _record(library, [one for one in result.values() if one.complete], by)
    return result


def _tags(columns: Columns, piles: Bytes, tags: Sequence[str] | None) -> list[str]:
    sorted_tags = [tag for code, tag in enumerate(columns.tags) if piles[code].any()]
    if not sorted_tags:
        raise BadInput("The model in use has sorted no photo yet.", "Run: deck-triage presort")
    for tag in tags or ():
        if tag not in sorted_tags:
            raise BadInput(
                f"The model in use has sorted no photo for {tag!r}.", "Train the tag, then presort."
            )
    return sorted(tags if tags else [tag for tag in sorted_tags if (piles[columns.tags.index(tag)]).any()])


def _promises(library: Library) -> dict[str, Promised]:
    """What the card of the model in use promises, by tag; nothing where the model's files are gone."""
    from triage.presort.of_library import load_models
    from triage.train.types import TagModel

    return {
        tag: Promised(model.promise.miss_rate, model.promise.holds)
        for tag, model in load_models(library).items()
        if isinstance(model, TagModel)
    }


def _record(library: Library, finished: Sequence[Missed], by: str | None) -> None:
    """Append one event for each finished audit that is not recorded yet, and empty contradicted piles."""
    known = [dict(event.payload) for event in library.statements("audited")]
    fresh = [one for one in finished if one.population and one.payload() not in known]
    if fresh and not by:
        raise WrongUsage("A finished audit is recorded, and nobody speaks for it.", "Say who with --by NAME.")
    for one in fresh:
        library.say("audited", one.payload(), by=str(by))
    for one in finished:
        if one.contradicts:
            _empty_pile(library, one.model, one.tag)


def _empty_pile(library: Library, model: str, tag: str) -> None:
    """Move a tag's photos from `unlikely` to `unsure`: the machine may not call them unlikely any more."""
    with writing(library.engine) as connection:
        connection.execute(
            update(suggestion)
            .where(suggestion.c.model == model, suggestion.c.tag == tag, suggestion.c.pile == "unlikely")
            .values(pile="unsure")
        )
        all_changed(connection)
