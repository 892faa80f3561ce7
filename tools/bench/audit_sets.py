"""Sets of truly labeled photos with their vectors, for the bench of doubtful labels."""

from __future__ import annotations

import csv
import os
from collections import defaultdict
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import numpy as np

from triage.audit.left_out import principal
from triage.features.batch import embed_many
from triage.features.store import VectorStore

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("DECK_TRIAGE_SHARED", ROOT.parent / "shared")) / "photos"
KEEP = ROOT / "build" / "bench-vectors"
"""Vectors are kept here between runs; the folder may be deleted."""
LEAST = 10
"""Fewest photos of either word for a tag to be measured."""


def sets() -> Iterator[tuple[str, np.ndarray, np.ndarray, np.ndarray]]:
    """Yield (set/tag, principal rows (n, d), truth (n,), deck number (n,)) of tags with enough photos."""
    folders = {"demo": ROOT / "sample_photos"}
    folders |= {name: SHARED / name for name in ("screws", "materials", "boards") if (SHARED / name).is_dir()}
    for name, folder in folders.items():
        words: dict[str, dict[str, bool]] = defaultdict(dict)
        with (folder / "labels.csv").open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                if row["value"] in ("present", "absent"):
                    words[row["tag"]][_name(row)] = row["value"] == "present"
        names = sorted({photo for said in words.values() for photo in said})
        rows = _rows([folder / "photos" / photo for photo in names])
        place = {photo: number for number, photo in enumerate(names)}
        for tag, said in sorted(words.items()):
            here = np.array([place[photo] for photo in sorted(said)])
            truth = np.array([said[photo] for photo in sorted(said)])
            decks = [photo.split("/")[0] for photo in sorted(said)]
            number = {deck: one for one, deck in enumerate(sorted(set(decks)))}
            if min(truth.sum(), (~truth).sum()) >= LEAST:
                yield f"{name}/{tag}", rows[here], truth, np.array([number[deck] for deck in decks])


def _name(row: dict[str, str]) -> str:
    """The photo as deck/file."""
    return row["photo"] if "/" in row["photo"] else f"{row['deck']}/{row['photo']}"


def _rows(files: list[Path]) -> np.ndarray:
    store = VectorStore(KEEP)
    items = [(sha256(file.read_bytes()).hexdigest(), file) for file in files]
    missing = set(store.missing([sha for sha, _ in items]))
    for _ in embed_many([item for item in items if item[0] in missing], store, total=len(missing)):
        pass
    return principal(lambda index: store.whole_matrix([items[one][0] for one in index]), len(items))
