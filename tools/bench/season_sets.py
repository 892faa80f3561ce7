"""The sets of the season bench: photos, decks, true answers and vectors, each made into a library once.

`seasons` are the two seasons of invented decks that `tools/render/run --seasons N` renders (other seeds than
the sample library), `given` are decks of the generator's first version, `boards` and `screws` real photos
as stand-ins, where a deck is a tree's board or a screw's panel; none of them shares a deck with the sample
library. `demo` is the sample library itself: it is in the checkout, and the program was made with it at hand.
"""

from __future__ import annotations

import csv
import json
import subprocess
import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from tools.bench.arrays import SAMPLES, SEASONS, home_of, load_set
from tools.bench.real import COMMAND, SHARED, run
from triage.domain.vocabulary import SHOWS, load_vocabulary
from triage.library import Library, queries

if TYPE_CHECKING:
    from collections.abc import Mapping

HOME = Path(tempfile.gettempdir()) / "deck-triage-season"

REAL = {
    "boards": ("crack", "dead-knot", "knot-missing", "knot-with-crack", "resin"),
    "screws": ("screw-missing",),
}
"""Defects of the real sets."""
DANGEROUS = {
    "seasons": ("missing-hanger", "nail-only-ledger", "side-bolted-beam"),
    "given": ("missing-hanger", "nail-only-ledger", "side-bolted-beam"),
    "demo": ("missing-hanger", "nail-only-ledger", "side-bolted-beam"),
    "boards": ("knot-missing", "knot-with-crack"),
    "screws": ("screw-missing",),
}
"""Defects that drop a deck; of the real sets the ones that stand for them here."""


@dataclass(frozen=True, eq=False)
class Truth:
    """One set: photos by deck, the true answer to each photo and tag.

    Attributes
    ----------
    library : folder of a library that holds the photos and their vectors, and no label.
    decks : deck to its photos, by name.
    answers : (photo, tag) to 'present', 'absent' or 'unclear'.
    defects, parts : the tags that are asked.
    dangerous : the defects that drop a deck.
    """

    name: str
    decks: Mapping[str, tuple[str, ...]]
    answers: Mapping[tuple[str, str], str]
    library: Path
    defects: tuple[str, ...]
    parts: tuple[str, ...]
    dangerous: tuple[str, ...]

    @cached_property
    def deck_of(self) -> dict[str, str]:
        """Each photo's deck."""
        return {sha: deck for deck, photos in self.decks.items() for sha in photos}

    def photos(self, decks: list[str]) -> list[str]:
        """Return the photos of some decks, deck by deck."""
        return [sha for deck in decks for sha in self.decks[deck]]


def load(name: str, most_decks: int | None = None) -> Truth:
    """Load a set by name, its first decks or all. Raises SystemExit where its photos are not here."""
    if name in REAL:
        return _real(name)
    folder = {"seasons": SEASONS, "given": SHARED / "renders" / "given", "demo": SAMPLES}[name]
    truth = _rendered(folder) if name == "seasons" else _given(folder)
    if not truth:
        raise SystemExit(f"The photos of {name} are not here: {folder}. See tools/render/README.md.")
    photos = folder / "first" if name == "seasons" else folder / "photos"
    all_decks = sorted({path.split("/")[0] for path, _ in truth})
    wanted = set(all_decks[:most_decks])
    truth = {key: value for key, value in truth.items() if key[0].split("/")[0] in wanted}
    at = _library(name, photos, wanted)
    with Library.open(at) as library:
        sha_of = {one.path_name: one.sha for one in queries.photos(library) if one.deck in wanted}
    answers = {(sha_of[path], tag): value for (path, tag), value in truth.items() if path in sha_of}
    decks: dict[str, list[str]] = {}
    for path in sorted({path for path, _ in truth}):
        if path in sha_of:
            decks.setdefault(path.split("/")[0], []).append(sha_of[path])
    vocabulary = load_vocabulary()
    tags = {tag for _, tag in answers}
    shown = {tag for (_, tag), value in answers.items() if value == "present"}
    parts = tuple(SHOWS + one for one in vocabulary.elements if SHOWS + one in tags & shown)
    return Truth(
        name,
        {deck: tuple(shas) for deck, shas in decks.items()},
        answers,
        at,
        tuple(tag for tag in vocabulary.core if tag in tags),
        parts,
        DANGEROUS[name],
    )


def _rendered(folder: Path) -> dict[tuple[str, str], str]:
    """True answers of the decks that are rendered so far, by (deck/photo, tag)."""
    found = {}
    for path in sorted(folder.glob("first/*/*.json")):
        record = json.loads(path.read_text())
        for tag, verdict in record["verdicts"].items():
            found[record["photo"], tag] = verdict["value"]
    return found


def _given(folder: Path) -> dict[tuple[str, str], str]:
    if not (folder / "labels.csv").is_file():
        return {}
    with (folder / "labels.csv").open(newline="") as file:
        return {(row["photo"], row["tag"]): row["value"] for row in csv.DictReader(file)}


def _library(name: str, photos: Path, decks: set[str]) -> Path:
    """Return a library of the photos with their vectors; it grows as more decks are rendered."""
    at = home_of(name) if name == "demo" else HOME / name / "library"
    if not (at / "library.toml").exists():
        at.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run([COMMAND, "new", str(at)], check=True, capture_output=True)
    with Library.open(at) as library:
        known = set(queries.decks(library))
    if decks - known:
        run("ingest", photos, library=at)
    run("embed", library=at)  # what has vectors of the network in use is not computed again
    return at


def _real(name: str) -> Truth:
    data = load_set(name)
    tags = REAL[name]
    shas = [sha for sha in data.decks if all(sha in data.labels[tag] for tag in tags)]
    decks: dict[str, list[str]] = {}
    for sha in sorted(shas, key=lambda sha: data.taken[sha]):
        decks.setdefault(data.decks[sha], []).append(sha)
    return Truth(
        name,
        {deck: tuple(photos) for deck, photos in sorted(decks.items())},
        {(sha, tag): data.labels[tag][sha].value for sha in shas for tag in tags},
        home_of(name),
        tags,
        (),
        DANGEROUS[name],
    )
