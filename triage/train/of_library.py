"""Training on a library: its labels in, a stored model and an event out."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from triage.errors import BadInput
from triage.train.types import TagModel, TooFew, TrainingLabel

if TYPE_CHECKING:
    from triage.jobs import Cancel, Progress
    from triage.library import Library

_DISPUTED_WEIGHT = 0.5
"""Each side of a dispute counts half."""


@dataclass
class Trained:
    """What a training did: the model in use afterwards and what is said of each tag."""

    model: str | None
    tags: dict[str, Any]
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    kept: str = "new"

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        return {"model": self.model, "tags": self.tags, "kept": self.kept}

    @property
    def partly(self) -> bool:
        """Whether some tag has no model or some photo was set aside."""
        return bool(self.set_aside) or any(row["average_precision"] is None for row in self.tags.values())


def training_labels(library: Library) -> list[TrainingLabel]:
    """Return the library's words as training labels: settled as settled, disputed at half weight."""
    found = []
    for word in library.words().values():
        rows = [label for label in word.labels if not word.settled or label.value == word.value]
        for label in rows:
            found.append(
                TrainingLabel(
                    photo=label.photo, tag=label.tag, value=label.value, boxes=label.boxes,
                    weight=_DISPUTED_WEIGHT if word.disputed else 1.0,
                    asked_by="machine" if label.saw_machine else label.asked_by, by=label.by, at=label.at,
                )
            )  # fmt: skip
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
) -> Trained:
    """Train one model per tag on the library's labels and put it in use.

    Raises BadInput when there are no labels at all or a named tag is unknown.
    """
    from triage.embed.keep import embed_photos, vectors_of
    from triage.train.learn import train_tags
    from triage.train.report import tag_json

    for tag in tags:
        library.vocabulary().tag(tag)
    labels = training_labels(library)
    wanted = [tag for tag in library.vocabulary().tags if not tags or tag in tags]
    said = {label.tag for label in labels}
    wanted = [tag for tag in wanted if tag in said or tag in tags]
    if not any(tag in said for tag in wanted):
        raise BadInput(
            "There are no labels to train on.",
            "Label some photos first: deck-triage label ask --by NAME, or label read FILE.csv",
        )
    shas = sorted({label.photo for label in labels if label.tag in wanted})
    embedded = embed_photos(library, shas, progress=progress, cancel=cancel)
    bad = {sha for sha, _ in embedded.set_aside}
    photos = [(photo.sha, photo.deck) for photo in library.photos()]
    previous = _previous(library)
    models = train_tags(
        photos,
        [label for label in labels if label.photo not in bad],
        vectors_of(library),
        tags=wanted,
        promise_rate=promise_rate,
        progress=progress,
        cancel=cancel,
        previous={tag: one for tag, one in previous.items() if isinstance(one, TagModel)},
    )
    said_of = {tag: tag_json(models[tag], promise_rate) for tag in wanted}
    new = {**{tag: one for tag, one in previous.items() if tag not in wanted}, **models}
    model = _store(library, new, said_of, by) if keep != "old" or not previous else library.model()
    return Trained(model, said_of, embedded.set_aside, "old" if keep == "old" and previous else "new")


def _previous(library: Library) -> dict[str, TagModel | TooFew]:
    from triage.errors import Damaged
    from triage.train.store import load_model

    if library.model() is None:
        return {}
    try:
        return load_model(library.model_dir)
    except Damaged:
        return {}


def _store(library: Library, models: dict[str, TagModel | TooFew], said_of: dict[str, Any], by: str) -> str:
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
    if library.model() != model:
        library.say("trained", {"model": model, "tags": said_of}, by=by)
    return model
