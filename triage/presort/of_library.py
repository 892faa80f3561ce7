"""Presorting a library: suggestions for its photos by the model in use."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from triage.batching import lots
from triage.library import queries
from triage.library.counts import spoken
from triage.library.suggestions import keep_suggestions
from triage.presort.look_first import draw_lines
from triage.presort.piles import HOLDS, WITHDRAWN, Standing
from triage.presort.prior import batch_share
from triage.presort.shift import LEVEL, batch_p_value
from triage.presort.suggesting import standing_of, suggest
from triage.presort.withdrawals import withdrawals
from triage.train.known import known
from triage.train.types import TagModel, TooFew

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.library import Library
    from triage.library.look_lines import LookLine
    from triage.library.records import Photo, Suggestion

_LOT = 200
AUDITED = "an audit of the unlikely pile contradicts it"
UNTIL = "nothing is called unlikely until the next model passes an audit or a person lifts this with a reason"


@dataclass
class PresortResult:
    """What a presort did: suggestions by photo, and how each tag's promise stands."""

    model: str
    new: int
    promise: dict[str, Standing]
    photos: Sequence[Photo]
    suggestions: Mapping[str, list[Suggestion]]
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    prevalence: dict[str, dict[str, float | None]] = field(default_factory=dict)
    counted: dict[str, dict[str, int]] | None = None
    """Suggestions in each pile by tag, where the database has counted them."""
    number: int | None = None
    """How many photos there are, where the database has counted them."""
    look_first: dict[str, LookLine] = field(default_factory=dict)
    """By tag, down to where its photos are worth looking at first."""
    known: dict[str, dict[str, str]] = field(default_factory=dict)
    """By tag what is known about its order and about its level, in sentences."""

    @property
    def photo_count(self) -> int:
        """How many photos were asked for."""
        return len(self.photos) if self.number is None else self.number

    def piles(self) -> dict[str, dict[str, int]]:
        """Return how many suggestions are in each pile, by tag."""
        if self.counted is not None:
            return self.counted
        found: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for photo in self.photos:
            for one in self.suggestions.get(photo.sha, []):
                found[one.tag][one.pile] += 1
        return found

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        return {
            "model": self.model,
            "new": self.new,
            "promise": {tag: standing.to_json() for tag, standing in self.promise.items()},
            "prevalence": self.prevalence,
            "known": self.known,
            "look_first": {tag: line.to_json() for tag, line in self.look_first.items()},
            "photos": [
                {
                    "photo": photo.sha,
                    "deck": photo.deck,
                    "name": photo.name,
                    "suggestions": [
                        {
                            "tag": one.tag,
                            "probability": one.probability,
                            "pile": one.pile,
                            "where": [list(box) for box in one.where],
                        }
                        for one in self.suggestions.get(photo.sha, [])
                    ],
                }
                for photo in self.photos
            ],
        }


def load_models(library: Library) -> dict[str, TagModel | TooFew]:
    """Return the models in use.

    Raises BadInput when none was trained, Damaged when they cannot be read.
    """
    from triage.train.store import load_model

    return load_model(library.model_dir)


def promise_standing(
    library: Library, models: dict[str, TagModel | TooFew] | None = None
) -> dict[str, Standing]:
    """Return how each promise stands: as trained, withdrawn for the last batch, or by an audit since.

    `models` are those in use, where they are at hand already.
    """
    if queries.model_in_use(library) is None:
        return {}
    models = load_models(library) if models is None else models
    found = {tag: standing_of(one) for tag, one in models.items() if isinstance(one, TagModel)}
    model = queries.model_in_use(library)
    for event in queries.statements(library, "presorted"):
        if event.payload["model"] == model:
            for tag, said in event.payload["standing"].items():
                found[tag] = Standing(said["standing"], said["why_not"] or "")
    for tag in withdrawals(library):
        if tag in found or not models:
            found[tag] = Standing(WITHDRAWN, f"{AUDITED}; {UNTIL}")
    return found


def presort_library(
    library: Library,
    *,
    by: str,
    decks: Sequence[str] = (),
    again: bool = False,
    engine: str = "processes",
    dask: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> PresortResult:
    """Suggest tags for photos of some decks, or of all; what this model said before is not computed again.

    Raises BadInput when no model was trained or a deck is unknown.
    """
    from triage.features.keep import embed_photos, vectors_of

    models = load_models(library)
    model = queries.model_in_use(library) or ""
    check_decks(library, decks)
    shas = queries.placed_shas(library, decks)
    ready = {tag for tag, one in models.items() if isinstance(one, TagModel)}
    found = spoken(library, model, ready, shas)
    todo = [sha for sha in shas if ready and (again or found.tags_of[sha] < len(ready))]
    found.tags_of.clear()
    embedded = embed_photos(library, todo, engine=engine, dask=dask, progress=progress, cancel=cancel)
    bad = {sha for sha, _ in embedded.set_aside}
    todo = [sha for sha in todo if sha not in bad]
    standing = _standing(library, models, todo)
    made = suggest(
        models, todo, vectors_of(library), model=model, standing=standing, progress=progress, cancel=cancel
    )
    for lot in lots(made, _LOT * max(1, len(ready))):
        keep_suggestions(library, lot)
    if todo:
        said = {tag: one.to_json() for tag, one in standing.items()}
        library.say("presorted", {"model": model, "standing": said, "photos": len(todo)}, by=by)
        found.probabilities.clear()
        found = spoken(library, model, ready, shas)
    return PresortResult(
        model,
        len(todo),
        standing,
        _Photos(library, decks),
        _Suggestions(library, model),
        embedded.set_aside,
        _prevalence(models, found.probabilities),
        found.piles,
        len(shas),
        draw_lines(library, models),
        {tag: known(one) for tag, one in models.items() if isinstance(one, TagModel)},
    )


class _Photos(Sequence["Photo"]):
    """A library's photos, read when the first one is asked for."""

    def __init__(self, library: Library, decks: Sequence[str]) -> None:
        self._library, self._decks = library, decks

    @cached_property
    def _all(self) -> list[Photo]:
        return photos_of(self._library, self._decks)

    def __len__(self) -> int:
        return len(self._all)

    def __getitem__(self, index: Any) -> Any:
        return self._all[index]


class _Suggestions(Mapping[str, "list[Suggestion]"]):
    """A model's suggestions by photo, read when the first one is asked for."""

    def __init__(self, library: Library, model: str) -> None:
        self._library, self._model = library, model

    @cached_property
    def _all(self) -> dict[str, list[Suggestion]]:
        found: dict[str, list[Suggestion]] = {}
        for one in queries.suggestions(self._library, model=self._model).values():
            found.setdefault(one.photo, []).append(one)
        return found

    def __len__(self) -> int:
        return len(self._all)

    def __iter__(self) -> Iterator[str]:
        return iter(self._all)

    def __getitem__(self, sha: str) -> list[Suggestion]:
        return self._all[sha]


def _prevalence(
    models: dict[str, TagModel | TooFew], chances: Mapping[str, Sequence[float]]
) -> dict[str, dict[str, float | None]]:
    """Return per tag its share of the labeled photos and, estimated, of this batch: never applied."""
    return {
        tag: {"labelled": one.prevalence, "batch": batch_share(chances.get(tag, ()), one.prevalence)}
        for tag, one in models.items()
        if isinstance(one, TagModel)
    }


def check_decks(library: Library, decks: Sequence[str]) -> None:
    """Raise BadInput for an unknown deck."""
    from triage.errors import BadInput

    unknown = sorted(set(decks) - set(queries.decks(library))) if decks else []
    if unknown:
        raise BadInput(f"There is no deck {unknown[0]!r}.", "List the decks with: deck-triage decks")


def photos_of(library: Library, decks: Sequence[str]) -> list[Photo]:
    """Return the photos of some decks, or of all. Raises BadInput for an unknown deck."""
    check_decks(library, decks)
    if not decks:
        return queries.photos(library)
    return [photo for deck in dict.fromkeys(decks) for photo in queries.photos(library, deck)]


def _standing(library: Library, models: dict[str, TagModel | TooFew], todo: list[str]) -> dict[str, Standing]:
    """Return the status of each promise for this batch: an audit or an unlike batch withdraws it."""
    ready = {tag: one for tag, one in models.items() if isinstance(one, TagModel)}
    found = {tag: standing_of(one) for tag, one in ready.items()}
    audited = withdrawals(library)
    for tag, standing in promise_standing(library, models).items():
        if standing.standing == WITHDRAWN and (tag in audited or not todo):
            found[tag] = standing
    if todo and any(one.standing == HOLDS for one in found.values()):
        decks = {deck for one in ready.values() for deck in one.folds}
        chance = batch_p_value(library, decks, todo)
        if chance is not None and chance <= LEVEL:
            why = f"this batch is unlike the decks that the model was trained on (p = {chance:.3f})"
            found = {
                tag: Standing(WITHDRAWN, why) if one.standing == HOLDS else one for tag, one in found.items()
            }
    return found
