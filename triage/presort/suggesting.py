"""Suggestions: what the models say about photos that nobody may have looked at yet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING

from threadpoolctl import ThreadpoolController

from triage.errors import Cancelled
from triage.library.records import Suggestion
from triage.presort.piles import HOLDS, TOO_FEW, Standing, pile
from triage.train.scoring import score
from triage.train.types import TagModel, TooFew

if TYPE_CHECKING:
    from triage.train.types import Cancel, Progress, VectorsOf

PLACES_FROM = 3
"""Photos with a marked place from which on places are shown. With three marked the highest cell lies in the
box of a new photo in .56 to .71 on boards, with none in .06 to .13 for three of four tags and in .60 for one,
and nothing tells which (tools/bench/run looked): a wrong place draws the eye away from the right one."""


def standing_of(model: TagModel) -> Standing:
    """The status of a tag's promise before any batch was examined."""
    if model.promise.holds:
        return Standing(HOLDS)
    return Standing(TOO_FEW, model.promise.why_not)


def suggest(
    models: Mapping[str, TagModel | TooFew],
    shas: Iterable[str],
    vectors_of: VectorsOf,
    *,
    model: str = "",
    standing: Mapping[str, Standing] | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Iterator[Suggestion]:
    """One suggestion per photo and tag that has a model, photo by photo.

    Its places are left out where people marked fewer than `PLACES_FROM` photos.

    Parameters
    ----------
    models : from `train_tags` or `load_model`; tags with too few labels are passed over.
    shas : photos to score.
    model : hash of the models, kept with each suggestion.
    standing : per tag the status of the promise for this batch; missing means as trained.

    Raises
    ------
    BadInput : vectors of another recipe.
    Cancelled : `cancel` answered true.
    """
    ready = {tag: one for tag, one in models.items() if isinstance(one, TagModel)}
    stands = {tag: (standing or {}).get(tag) or standing_of(one) for tag, one in ready.items()}
    blas = ThreadpoolController()  # small products: one thread is faster, and the sums are the same anywhere
    for done, sha in enumerate(shas):
        if cancel is not None and cancel():
            raise Cancelled("Presorting was stopped; the suggestions made so far were kept.")
        if progress is not None:
            progress("presort", done, None)
        if not ready:
            continue
        vectors = vectors_of(sha)
        with blas.limit(limits=1):
            rows = vectors.cells_float()
            said = {tag: score(one, vectors, rows) for tag, one in ready.items()}
        for tag, found in said.items():
            where = pile(found.probability, found.leave_one_out, ready[tag], stands[tag])
            places = found.where if ready[tag].boxed >= PLACES_FROM else ()
            yield Suggestion(sha, tag, model, found.raw, found.probability, where, places)
