"""Training: from labels and vectors to one model per tag, with what left-out decks say about it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from triage.errors import Cancelled
from triage.library.look_alikes import NO_GROUPS, DeckGroups
from triage.train.cells import Shelf, cell_scores
from triage.train.draft import Draft, too_few
from triage.train.grouping import with_groups
from triage.train.table import build_table
from triage.train.types import TagModel, TooFew

if TYPE_CHECKING:
    from collections.abc import Mapping

    from triage.train.types import Cancel, Floats, Floats32, Progress, TrainingLabel, VectorsOf

THREADS = 2
"""Tags that are trained at once; each with one thread in the linear algebra, whose sums would else hang on
the number of cores."""
MOST_SHARED = 5000
"""Photos up to which one matrix of inner products serves all tags."""


def train_tags(
    photos: Sequence[tuple[str, str]],
    labels: Iterable[TrainingLabel],
    vectors_of: VectorsOf,
    *,
    tags: Sequence[str],
    promise_rate: float = 0.05,
    seed: int = 0,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    previous: Mapping[str, TagModel] | None = None,
    counted: Mapping[str, frozenset[str]] | None = None,
    groups: DeckGroups = NO_GROUPS,
) -> dict[str, TagModel | TooFew]:
    """One model per tag, or what is missing for one.

    Parameters
    ----------
    photos : (sha, deck) of every photo of the library, labeled or not: a deck with an unlabeled
        photo cannot count for a promise.
    labels : people's words; of tags that are not asked for they are ignored.
    vectors_of : from a photo's hash to its vectors; called again when memory is short.
    tags : what to train.
    promise_rate : bound on the share of a defective deck's positive photos in `unlikely`.
    seed : fixes every draw; the result does not depend on the order of photos or labels.
    previous : earlier models; decks keep their folds so that the two can be compared.
    counted : by tag the decks that a promise counts (see `triage.label.pools`); by the labels' own times and
        ways of asking where it is not given. Groups of look-alike decks go by the name of the group.
    groups : decks that share look-alike photos and are one deck here.

    Raises
    ------
    BadInput : a photo under two decks, or an unknown value of a label.
    Cancelled : `cancel` answered true.
    """
    spoken = sorted(labels, key=lambda label: (label.photo, label.tag, label.by, label.value))
    shelf = Shelf(vectors_of)
    photos = [(sha, groups.group(deck)) for sha, deck in photos]
    tables = {tag: build_table(tag, photos, spoken, (counted or {}).get(tag)) for tag in tags}
    found: dict[str, TagModel | TooFew] = {
        tag: few for tag, table in tables.items() if (few := too_few(table)) is not None
    }
    left = [tag for tag in tags if tag not in found]
    whole = _whole_vectors(sorted({s for tag in left for s in tables[tag].shas}), shelf, cancel)

    def begin(tag: str) -> Draft:
        _step(None, cancel, "", 0, None)
        earlier = previous[tag].folds if previous and tag in previous else None
        rows, gram = whole.of(tables[tag].shas)
        return Draft.begin(tables[tag], rows, gram, shelf, promise_rate, seed, earlier)

    with threadpool_limits(1), ThreadPoolExecutor(THREADS) as pool:
        drafts: list[Draft] = []
        for done, draft in enumerate(pool.map(begin, left)):
            _step(progress, cancel, "train", done, len(left))
            drafts.append(draft)
        _score_cells(drafts, shelf, progress, cancel)
        finished = pool.map(lambda draft: draft.finish(whole.recipe_sha), drafts)
        found.update({model.tag: with_groups(model, groups) for model in finished})
    if progress is not None:
        progress("train", len(left), len(left))
    return {tag: found[tag] for tag in tags}


def _step(progress: Progress | None, cancel: Cancel | None, what: str, done: int, total: int | None) -> None:
    if cancel is not None and cancel():
        raise Cancelled("Training was stopped; the present model is unchanged.")
    if progress is not None:
        progress(what, done, total)


@dataclass(frozen=True, eq=False)
class Whole:
    """Whole vectors (n, D) of photos, their inner products (n, n) where there is room, and the recipe."""

    place: dict[str, int]
    rows: Floats32
    gram: Floats32 | None
    recipe_sha: str

    def of(self, shas: Sequence[str]) -> tuple[Floats32, Floats32]:
        """Vectors and inner products of some of the photos."""
        places = np.array([self.place[sha] for sha in shas], np.intp)
        rows = self.rows[places]
        return rows, rows @ rows.T if self.gram is None else self.gram[np.ix_(places, places)]


def _whole_vectors(shas: Sequence[str], shelf: Shelf, cancel: Cancel | None) -> Whole:
    rows: list[Floats32] = []
    recipe_sha = ""
    for sha in shas:
        _step(None, cancel, "", 0, None)
        vectors = shelf(sha)
        rows.append(vectors.whole)
        recipe_sha = vectors.recipe_sha
    matrix = np.stack(rows) if rows else np.zeros((0, 1), np.float32)
    gram = matrix @ matrix.T if len(matrix) <= MOST_SHARED else None
    return Whole({sha: k for k, sha in enumerate(shas)}, matrix, gram, recipe_sha)


def _score_cells(
    drafts: Sequence[Draft], shelf: Shelf, progress: Progress | None, cancel: Cancel | None
) -> None:
    """One pass over the photos, each scored by all cell models of all tags that have not seen its deck."""
    wanted: dict[str, list[tuple[Draft, int]]] = {}
    for draft in drafts:
        for place, sha in enumerate(draft.table.shas):
            wanted.setdefault(sha, []).append((draft, place))
    for done, (sha, users) in enumerate(sorted(wanted.items(), key=lambda item: item[0])):
        if done % 100 == 0:
            _step(progress, cancel, "score", done, len(wanted))
        asked = [(draft, place, draft.cell_models(place)) for draft, place in users]
        jobs = [(draft, place, models) for draft, place, models in asked if models is not None]
        if not jobs:
            continue
        weights = np.concatenate([job[2][0] for job in jobs])
        bias: Floats = np.concatenate([job[2][1] for job in jobs])
        scores = cell_scores(shelf(sha), weights, bias)
        for draft, place, models in jobs:
            count = len(models[1])
            draft.take_cell_scores(place, scores[:count])
            scores = scores[count:]
