"""Real sets and the demo library as arrays for benches: photos, labels, vectors of a library made of them."""

from __future__ import annotations

import json
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tools.bench.real import COMMAND, SHARED, Row, make_library, rows_of, run
from triage.batch import Ok
from triage.library import Library, queries
from triage.train import TagModel, TrainingLabel, train_tags
from triage.train.calibrate import apply
from triage.train.scoring import blended

if TYPE_CHECKING:
    from triage.features.vectors import PhotoVectors, Recipe

SAMPLES = Path(__file__).resolve().parents[2] / "sample_photos"
SEASONS = Path.home() / ".cache" / "deck-triage-bench" / "seasons"


@dataclass(frozen=True, eq=False)
class Set:
    """One set: photo to deck, labels per tag and photo, vectors by photo, what capture order goes by."""

    name: str
    decks: dict[str, str]
    labels: dict[str, dict[str, TrainingLabel]]
    vectors: dict[str, PhotoVectors]
    taken: dict[str, str]

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


def folder_of(name: str) -> Path:
    """Where a set's photos and labels are; `demo` is the sample library, `seasons` other decks."""
    return {"demo": SAMPLES, "seasons": SEASONS}.get(name, SHARED / "photos" / name)


def season_rows() -> list[Row]:
    """The true answers of the decks that `tools/render/run --seasons N` has rendered so far."""
    found = []
    for path in sorted(SEASONS.glob("first/*/*.json")):
        record = json.loads(path.read_text())
        for tag, verdict in record["verdicts"].items():
            if verdict["value"] in ("present", "absent"):
                boxes = ";".join(",".join(map(str, box)) for box in verdict["boxes"])
                is_there = verdict["value"] == "present"
                found.append(Row(record["photo"], record["deck"], tag, is_there, {"box": boxes}))
    return found


def home_of(name: str) -> Path:
    """Where a set's library is, or will be."""
    return Path(tempfile.gettempdir()) / "deck-triage-arrays" / name / "library"


def load_set(name: str, recipe: Recipe | None = None) -> Set:
    """Make a library of the set by the commands, once, and read its vectors or make those of a recipe."""
    folder = folder_of(name)
    at = home_of(name)
    rows = season_rows() if name == "seasons" else rows_of(folder)
    if not (at / "library.toml").exists():
        at.parent.mkdir(parents=True, exist_ok=True)
        _make(folder, rows, at)
    with Library.open(at) as library:
        photos = queries.photos(library)
        vectors = _vectors(library, [photo.sha for photo in photos], recipe)
    sha_of = {photo.path_name: photo.sha for photo in photos}
    labels: dict[str, dict[str, TrainingLabel]] = {}
    for row in rows:
        if row.photo not in sha_of:
            continue
        boxes = tuple(tuple(map(float, box.split(","))) for box in row.cells.get("box", "").split(";") if box)
        sha = sha_of[row.photo]
        value = "present" if row.present else "absent"
        labels.setdefault(row.tag, {})[sha] = TrainingLabel(sha, row.tag, value, boxes)
    decks = {photo.sha: photo.deck for photo in photos}
    taken = {photo.sha: f"{photo.taken_at or ''} {photo.deck}/{photo.name}" for photo in photos}
    return Set(name, decks, labels, vectors, taken)


def _vectors(library: Library, shas: list[str], recipe: Recipe | None) -> dict[str, PhotoVectors]:
    from triage.features.batch import embed_many
    from triage.features.keep import vectors_of
    from triage.features.store import VectorStore

    if recipe is None:
        read = vectors_of(library)
        return {sha: read(sha) for sha in shas}
    store = VectorStore(library.caches / "vectors", recipe)
    made = embed_many([(sha, library.original(sha)) for sha in shas], store)
    return {one.item[0]: one.value for one in made if isinstance(one, Ok)}


def _make(folder: Path, rows: list[Row], at: Path) -> None:
    """Make the library; the tags of rendered decks are those that every library has."""
    if folder not in (SAMPLES, SEASONS):
        make_library(folder, rows, at)
        return
    subprocess.run([COMMAND, "new", str(at)], check=True, capture_output=True)
    run("ingest", folder / ("first" if folder == SEASONS else "photos"), library=at)
    run("embed", library=at)
