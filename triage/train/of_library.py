"""Training on a library: its labels in, a stored model and an event out."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from triage.errors import BadInput
from triage.label.counting import counted_in_library
from triage.library import queries
from triage.library.look_alikes import deck_groups
from triage.library.records import UNSORTED
from triage.train.types import TagModel, TooFew, TrainingLabel
from triage.version import __version__

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.library import Library
    from triage.library.look_alikes import DeckGroups
    from triage.train.compare import Compared
    from triage.train.types import VectorsOf

_DISPUTED_WEIGHT = 0.5
"""Each side of a dispute counts half."""


@dataclass
class TrainResult:
    """What a training did: the model in use afterward and what is said of each tag."""

    model: str | None
    tags: dict[str, Any]
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    kept: str = "new"
    compared: dict[str, Any] = field(default_factory=dict)
    other_features: list[str] = field(default_factory=list)
    """Tags whose earlier model was made on other features: it scores no photo now, nor can it be compared."""

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        return {
            "model": self.model,
            "tags": self.tags,
            "kept": self.kept,
            "compared": self.compared,
            "other_features": self.other_features,
        }

    @property
    def partly(self) -> bool:
        """Whether some tag has no model or some photo was set aside."""
        return bool(self.set_aside) or any(row["average_precision"] is None for row in self.tags.values())


def training_labels(library: Library) -> list[TrainingLabel]:
    """Return the library's words as training labels: settled as settled, disputed at half weight."""
    found = []
    for word in queries.words(library).values():
        rows = [label for label in word.labels if not word.settled or label.value == word.value]
        for label in rows:
            found.append(
                TrainingLabel(
                    photo=label.photo,
                    tag=label.tag,
                    value=label.value,
                    boxes=label.boxes,
                    weight=_DISPUTED_WEIGHT if word.disputed else 1.0,
                    asked_by="machine" if label.saw_machine else label.asked_by,
                    by=label.by,
                    at=label.at,
                )
            )
        if word.settled and not rows:
            found.append(TrainingLabel(photo=word.photo, tag=word.tag, value=word.value, by="settled"))
    return found


def train_library(
    library: Library,
    *,
    by: str,
    tags: Sequence[str] = (),
    promise_rate: float = 0.05,
    keep: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> TrainResult:
    """Train one model per tag on the library's labels and put it in use.

    Raises BadInput when there are no labels at all or a named tag is unknown.
    """
    from triage.features.keep import embed_photos, vectors_of
    from triage.train.learn import train_tags
    from triage.train.report import tag_json

    for tag in tags:
        library.vocabulary().tag(tag)
    waiting = {photo.sha for photo in queries.photos(library, UNSORTED)}  # of some deck, nobody said which
    labels = [label for label in training_labels(library) if label.photo not in waiting]
    wanted = [tag for tag in library.vocabulary().tags if not tags or tag in tags]
    said = {label.tag for label in labels}
    wanted = [tag for tag in wanted if tag in said or tag in tags]
    if not any(tag in said for tag in wanted):
        raise BadInput(
            "There are no labels to train on.",
            "Label some photos first: deck-triage label ask --by NAME, or label read FILE.csv",
        )
    photos = [(photo.sha, photo.deck) for photo in queries.photos(library) if photo.deck != UNSORTED]
    groups = deck_groups(library)
    counted = {tag: one.decks for tag, one in counted_in_library(library, wanted, groups).items()}
    previous = _previous(library)
    data = _data_hash(photos, labels, wanted, promise_rate, groups, counted)
    if keep is None and (same := _same_again(library, data)) is not None:
        return same
    shas = sorted({label.photo for label in labels if label.tag in wanted})
    embedded = embed_photos(library, shas, progress=progress, cancel=cancel)
    bad = {sha for sha, _ in embedded.set_aside}
    vectors = vectors_of(library)
    models = train_tags(
        photos,
        [label for label in labels if label.photo not in bad],
        vectors,
        tags=wanted,
        promise_rate=promise_rate,
        progress=progress,
        cancel=cancel,
        previous={tag: one for tag, one in previous.items() if isinstance(one, TagModel)},
        counted=counted,
        groups=groups,
    )
    said_of = {tag: tag_json(models[tag], promise_rate) for tag in wanted}
    compared = _compare(previous, models, dict(photos), vectors, groups)
    kept = _better(previous, models, compared, keep)
    new = {**{tag: one for tag, one in previous.items() if tag not in wanted}, **kept}
    told_of = {"tags": said_of, "data": data, "decks": _decks_seen(new), "version": __version__}
    model = _store(library, new, told_of, by)
    stays = "old" if previous and all(kept[tag] is previous.get(tag) for tag in wanted) else "new"
    told = {tag: one.to_json() for tag, one in compared.items()}
    apart = [tag for tag in wanted if on_other_features(previous.get(tag), models[tag])]
    return TrainResult(model, said_of, embedded.set_aside, stays, told, apart)


def _data_hash(
    photos: list[tuple[str, str]],
    labels: list[TrainingLabel],
    tags: list[str],
    promise_rate: float,
    groups: DeckGroups,
    counted: dict[str, frozenset[str]],
) -> str:
    """Return a hash of everything a training hangs on: photos, labels, tags, promise, recipe, version."""
    import hashlib
    import json
    from dataclasses import asdict

    from triage.features.recipe import default_recipe
    from triage.train.store import FORMAT
    from triage.version import __version__

    rows = sorted(json.dumps(asdict(label), sort_keys=True) for label in labels if label.tag in tags)
    ones = [
        groups.members(),
        sorted(groups.photos),
        sorted((tag, sorted(one)) for tag, one in counted.items()),
    ]
    parts = [
        sorted(photos),
        rows,
        sorted(tags),
        promise_rate,
        default_recipe().sha,
        __version__,
        FORMAT,
        ones,
    ]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def _same_again(library: Library, data: str) -> TrainResult | None:
    """Return what the last training said, where nothing that it hangs on has changed since."""
    trained = queries.statements(library, "trained")
    if not trained or trained[-1].payload.get("data") != data or not library.model_dir.is_dir():
        return None
    payload = trained[-1].payload
    return TrainResult(str(payload["model"]), dict(payload["tags"]), kept="unchanged")


def _compare(
    previous: dict[str, TagModel | TooFew],
    models: dict[str, TagModel | TooFew],
    decks: dict[str, str],
    vectors: VectorsOf,
    groups: DeckGroups,
) -> dict[str, Compared]:
    from triage.train.compare import compare_models

    found = {}
    for tag, new in models.items():
        old = previous.get(tag)
        if isinstance(old, TagModel) and isinstance(new, TagModel):
            one = compare_models(old, new, decks, vectors, groups=groups)
            if one is not None:
                found[tag] = one
    return found


def on_other_features(old: TagModel | TooFew | None, new: TagModel | TooFew) -> bool:
    """Say whether two models of a tag read vectors of two recipes."""
    if not (isinstance(old, TagModel) and isinstance(new, TagModel)):
        return False
    return old.recipe_sha != new.recipe_sha


def _better(
    previous: dict[str, TagModel | TooFew],
    models: dict[str, TagModel | TooFew],
    compared: dict[str, Compared],
    keep: str | None,
) -> dict[str, TagModel | TooFew]:
    """Return per tag the model that stays: the new one unless it is worse, or as `keep` says.

    An earlier model that was made on other features can score no photo, so the new one takes its place.
    """
    found = {}
    for tag, new in models.items():
        old = previous.get(tag)
        worse = tag in compared and compared[tag].verdict == "worse"
        stays = (keep == "old" or (keep is None and worse)) and not on_other_features(old, new)
        found[tag] = old if old is not None and stays else new
    return found


def _decks_seen(models: dict[str, TagModel | TooFew]) -> list[str]:
    """Every deck that some model saw in training: an audit draws from none of them."""
    return sorted({deck for one in models.values() if isinstance(one, TagModel) for deck in one.folds})


def _previous(library: Library) -> dict[str, TagModel | TooFew]:
    from triage.errors import Damaged
    from triage.train.store import load_model

    if queries.model_in_use(library) is None:
        return {}
    try:
        return load_model(library.model_dir)
    except Damaged:
        return {}


def _store(library: Library, models: dict[str, TagModel | TooFew], told: dict[str, Any], by: str) -> str:
    from triage.library.log import new_id
    from triage.train.store import save_model

    library.models_dir.mkdir(exist_ok=True)
    draft = library.models_dir / f".{new_id()[:8]}"
    try:
        model = save_model(models, draft)
        target = library.models_dir / model[:16]
        if not target.exists():
            draft.rename(target)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    library.say("trained", {"model": model, **told}, by=by)
    return model
