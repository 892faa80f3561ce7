"""Real sets as arrays for benches of the trainer: photos, labels and vectors of a library made of the set."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tools.bench.real import SHARED, make_library, rows_of
from triage.library import Library
from triage.train import TagModel, TrainingLabel, train_tags
from triage.train.calibrate import apply
from triage.train.scoring import blended

if TYPE_CHECKING:
    from triage.embed.vectors import PhotoVectors


@dataclass(frozen=True, eq=False)
class Set:
    """One real set: photo to deck, labels per tag and photo, vectors by photo."""

    name: str
    decks: dict[str, str]
    labels: dict[str, dict[str, TrainingLabel]]
    vectors: dict[str, PhotoVectors]

    def train(self, tag: str, photos: list[str], of: list[str]) -> TagModel | None:
        """A model of the tag on the labels of some photos, or None where they are too few."""
        found = train_tags(
            [(sha, self.decks[sha]) for sha in of],
            [self.labels[tag][sha] for sha in photos],
            self.vectors.__getitem__,
            tags=[tag],
            promise_rate=0.001,
        )[tag]
        return found if isinstance(found, TagModel) else None

    def halves(self, tag: str, seed: int) -> tuple[list[str], list[str]]:
        """Photos of half of the decks, and of the others."""
        decks = sorted({self.decks[sha] for sha in self.labels[tag]})
        drawn = np.random.default_rng(seed).permutation(decks)
        half = set(drawn[: len(decks) // 2])
        photos = sorted(self.labels[tag])
        return [s for s in photos if self.decks[s] in half], [s for s in photos if self.decks[s] not in half]

    def present(self, tag: str, photos: list[str]) -> np.ndarray:
        """(n,) 0 or 1."""
        return np.array([self.labels[tag][sha].value == "present" for sha in photos], float)

    def probabilities(self, model: TagModel, photos: list[str]) -> np.ndarray:
        """(n,) calibrated."""
        blend = np.array([model.blend])
        raw = [blended(model.whole, model.cells, blend, self.vectors[sha])[0] for sha in photos]
        return np.asarray(apply(model.calibration, np.array(raw)))


def load_set(name: str) -> Set:
    """Make a library of the set by the commands, once, and read its vectors."""
    from triage.embed.keep import vectors_of

    folder = SHARED / "photos" / name
    at = Path(tempfile.gettempdir()) / "deck-triage-arrays" / name
    rows = rows_of(folder)
    if not (at / "library" / "library.toml").exists():
        at.mkdir(parents=True, exist_ok=True)
        make_library(folder, rows, at / "library")
    with Library.open(at / "library") as library:
        sha_of = {photo.path_name: photo.sha for photo in library.photos()}
        decks = {photo.sha: photo.deck for photo in library.photos()}
        read = vectors_of(library)
        vectors = {sha: read(sha) for sha in decks}
    labels: dict[str, dict[str, TrainingLabel]] = {}
    for row in rows:
        boxes = tuple(tuple(map(float, box.split(","))) for box in row.cells["box"].split(";") if box)
        sha = sha_of[row.photo]
        value = "present" if row.present else "absent"
        labels.setdefault(row.tag, {})[sha] = TrainingLabel(sha, row.tag, value, boxes)
    return Set(name, decks, labels, vectors)
