"""What the next labels would bring, for a library: worked out once for its labels and kept in the cache."""

from __future__ import annotations

import json
from collections.abc import Sequence
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from triage.library import queries
from triage.presort.outlook import MORE, Outlook, outlook
from triage.train.of_library import training_labels

if TYPE_CHECKING:
    from pathlib import Path

    from triage.batch import Cancel, Progress
    from triage.library import Library
    from triage.train.types import TrainingLabel


def outlook_of_library(
    library: Library,
    *,
    tags: Sequence[str] = (),
    more: int = MORE,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> dict[str, Outlook]:
    """Per tag what `more` labels would bring; tags of the vocabulary that have labels, or those named.

    Takes about 24 small trainings a tag; what was worked out for the same labels is read from the cache, so
    a page may run this as a job and call `kept_outlook` to show what is there.

    Raises
    ------
    BadInput : a named tag is unknown. Cancelled : `cancel` answered true; finished tags are kept.
    """
    from triage.features.keep import embed_photos, vectors_of

    for tag in tags:
        library.vocabulary().tag(tag)
    by_tag = _labels(library)
    wanted = [tag for tag in library.vocabulary().tags if tag in (tags or by_tag)]
    decks = {photo.sha: photo.deck for photo in queries.photos(library)}
    found = kept_outlook(library, tags=wanted, more=more)
    left = [tag for tag in wanted if tag not in found]
    shas = sorted({label.photo for tag in left for label in by_tag.get(tag, ()) if label.photo in decks})
    bad = {sha for sha, _ in embed_photos(library, shas, progress=progress, cancel=cancel).set_aside}
    for done, tag in enumerate(left):
        if progress is not None:
            progress("learning curve", done, len(left))
        labels = [label for label in by_tag.get(tag, ()) if label.photo not in bad]
        found[tag] = outlook(tag, decks, labels, vectors_of(library), more=more, cancel=cancel)
        _keep(_path(library, tag, more, by_tag.get(tag, [])), found[tag])
    return {tag: found[tag] for tag in wanted}


def kept_outlook(library: Library, *, tags: Sequence[str] = (), more: int = MORE) -> dict[str, Outlook]:
    """What is kept for the labels as they stand, without working anything out; a tag may be missing."""
    by_tag = _labels(library)
    found = {}
    for tag in tags or sorted(by_tag):
        path = _path(library, tag, more, by_tag.get(tag, []))
        if path.is_file():
            found[tag] = _read(json.loads(path.read_text(encoding="utf-8")))
    return found


def _labels(library: Library) -> dict[str, list[TrainingLabel]]:
    found: dict[str, list[TrainingLabel]] = {}
    for label in training_labels(library):
        found.setdefault(label.tag, []).append(label)
    return found


def _path(library: Library, tag: str, more: int, labels: Sequence[TrainingLabel]) -> Path:
    """Where the outlook for exactly these labels, photos' decks and this version is kept."""
    from triage.features.recipe import default_recipe
    from triage.version import __version__

    decks = {photo.sha: photo.deck for photo in queries.photos(library)}
    rows = sorted(
        [one.photo, decks.get(one.photo, ""), one.value, one.weight, [list(box) for box in one.boxes], one.by]
        for one in labels
    )
    text = json.dumps([tag, more, default_recipe().sha, __version__, rows])
    return library.caches / "outlook" / f"{sha256(text.encode()).hexdigest()[:32]}.json"


def _keep(path: Path, one: Outlook) -> None:
    from triage.library.store import write_whole

    write_whole(path, json.dumps(one.to_json(), allow_nan=False).encode())


def _read(stored: dict[str, Any]) -> Outlook:
    points = tuple((int(n), float(value)) for n, value in stored["points"])
    return Outlook(**{**stored, "points": points, "why_not": stored["why_not"] or ""})
