"""Presorting a library: suggestions for its photos by the model in use."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from triage.presort.piles import HOLDS, WITHDRAWN, Standing
from triage.presort.prior import batch_share
from triage.presort.shift import LEVEL, batch_p_value
from triage.presort.suggesting import standing_of, suggest
from triage.train.types import TagModel, TooFew

if TYPE_CHECKING:
    from triage.jobs import Cancel, Progress
    from triage.library import Library
    from triage.library.records import Photo, Suggestion

_LOT = 200
AUDITED = "an audit of the unlikely pile contradicts it"


@dataclass
class Presorted:
    """What a presort did: suggestions by photo, and how each tag's promise stands."""

    model: str
    new: int
    promise: dict[str, Standing]
    photos: list[Photo]
    suggestions: dict[str, list[Suggestion]]
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    prevalence: dict[str, dict[str, float | None]] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        return {
            "model": self.model,
            "new": self.new,
            "promise": {tag: standing.to_json() for tag, standing in self.promise.items()},
            "prevalence": self.prevalence,
            "photos": [
                {
                    "photo": photo.sha,
                    "deck": photo.deck,
                    "name": photo.name,
                    "suggestions": [
                        {
                            "tag": one.tag, "probability": one.probability, "pile": one.pile,
                            "where": [list(box) for box in one.where],
                        }
                        for one in self.suggestions.get(photo.sha, [])
                    ],
                }
                for photo in self.photos
            ],
        }  # fmt: skip


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
    if library.model() is None:
        return {}
    models = load_models(library) if models is None else models
    found = {tag: standing_of(one) for tag, one in models.items() if isinstance(one, TagModel)}
    model = library.model()
    for event in library.statements("presorted"):
        if event.payload["model"] == model:
            for tag, said in event.payload["standing"].items():
                found[tag] = Standing(said["standing"], said["why_not"] or "")
    for event in library.statements("audited"):
        payload = event.payload
        if payload.get("model") == model and payload.get("contradicts"):
            why = f"{AUDITED}; train again"
            found[payload["tag"]] = Standing(WITHDRAWN, why)
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
) -> Presorted:
    """Suggest tags for photos of some decks, or of all; what this model said before is not computed again.

    Raises BadInput when no model was trained or a deck is unknown.
    """
    from triage.embed.keep import embed_photos, vectors_of

    models = load_models(library)
    model = library.model() or ""
    photos = photos_of(library, decks)
    known = {} if again else library.suggestions()
    have = defaultdict(set)
    for sha, tag in known:
        have[sha].add(tag)
    ready = {tag for tag, one in models.items() if isinstance(one, TagModel)}
    todo = [photo.sha for photo in photos if not ready <= have[photo.sha]]
    embedded = embed_photos(library, todo, engine=engine, dask=dask, progress=progress, cancel=cancel)
    bad = {sha for sha, _ in embedded.set_aside}
    todo = [sha for sha in todo if sha not in bad]
    standing = _standing(library, models, todo)
    made = suggest(
        models, todo, vectors_of(library), model=model, standing=standing, progress=progress, cancel=cancel
    )
    for lot in _lots(made, _LOT * max(1, len(ready))):
        library.keep_suggestions(lot)
    if todo:
        said = {tag: one.to_json() for tag, one in standing.items()}
        library.say("presorted", {"model": model, "standing": said, "photos": len(todo)}, by=by)
    by_photo: dict[str, list[Suggestion]] = defaultdict(list)
    for one in library.suggestions().values():
        by_photo[one.photo].append(one)
    common = _prevalence(models, [one for photo in photos for one in by_photo.get(photo.sha, [])])
    return Presorted(model, len(todo), standing, photos, by_photo, embedded.set_aside, common)


def _prevalence(
    models: dict[str, TagModel | TooFew], suggestions: list[Suggestion]
) -> dict[str, dict[str, float | None]]:
    """Return per tag its share of the labelled photos and, estimated, of this batch: never applied."""
    chances = defaultdict(list)
    for one in suggestions:
        chances[one.tag].append(one.probability)
    return {
        tag: {"labelled": one.prevalence, "batch": batch_share(chances[tag], one.prevalence)}
        for tag, one in models.items()
        if isinstance(one, TagModel)
    }


def photos_of(library: Library, decks: Sequence[str]) -> list[Photo]:
    """Return the photos of some decks, or of all. Raises BadInput for an unknown deck."""
    from triage.errors import BadInput

    if not decks:
        return library.photos()
    unknown = sorted(set(decks) - set(library.decks()))
    if unknown:
        raise BadInput(f"There is no deck {unknown[0]!r}.", "List the decks with: deck-triage decks")
    return [photo for deck in dict.fromkeys(decks) for photo in library.photos(deck)]


def _standing(library: Library, models: dict[str, TagModel | TooFew], todo: list[str]) -> dict[str, Standing]:
    """Return how each promise stands for this batch: an audit or an unlike batch withdraws it."""
    ready = {tag: one for tag, one in models.items() if isinstance(one, TagModel)}
    found = {tag: standing_of(one) for tag, one in ready.items()}
    for tag, standing in promise_standing(library, models).items():
        if standing.standing == WITHDRAWN and (AUDITED in standing.why_not or not todo):
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


def _lots(made: Iterator[Suggestion], size: int) -> Iterator[list[Suggestion]]:
    lot: list[Suggestion] = []
    for one in made:
        lot.append(one)
        if len(lot) >= size:
            yield lot
            lot = []
    if lot:
        yield lot
