"""What all tests share: the demo photos, small libraries made from them, the optional real photos."""

from __future__ import annotations

import csv
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from common import SAMPLES, SHARED, draw_photo
from long_runs import LONG
from slowest import place


def pytest_collection_modifyitems(items):
    """Begin with the slowest; leave the full numbers to a long run: a usual one has a smaller case."""
    items.sort(key=lambda item: place(item.path.relative_to(Path(__file__).parent).as_posix()))
    if LONG:
        return
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(pytest.mark.skip(reason="full numbers: tools/test --long"))


def pytest_terminal_summary(terminalreporter):
    """Say in one line which tests could not run because data that they need is not here."""
    skipped = [str(one.longrepr) for one in terminalreporter.stats.get("skipped", [])]
    missing = sum("not here" in reason for reason in skipped)
    full = sum("full numbers" in reason for reason in skipped)
    if missing or full:
        terminalreporter.write_line(
            f"Not run: {missing} for want of data that is not here, {full} left to tools/test --long."
        )


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch):
    for name in ("DECK_TRIAGE_LIBRARY", "DECK_TRIAGE_BY", "DECK_TRIAGE_DATABASE"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture(scope="session")
def real_photos() -> Path:
    """The folder of real, openly licensed photos; skips where it is absent."""
    folder = SHARED / "photos"
    if not folder.is_dir():
        pytest.skip(f"the real photos are not here ({folder}); set DECK_TRIAGE_SHARED")
    return folder


@pytest.fixture
def photo_maker():
    return draw_photo


@pytest.fixture(scope="session")
def card_made(tmp_path_factory) -> Path:
    """The folder of `card`, drawn once; only copied, never changed."""
    folder = tmp_path_factory.mktemp("card-made") / "card"
    for deck in ("D-17", "D-18"):
        for number in range(3):
            draw_photo(
                folder / deck / f"IMG_041{number}.jpg",
                seed=hash_of(deck) + number,
                exif={271: "Invented", 272: "Phone 1", "taken_at": f"2026:05:04 10:1{number}:00"},
            )
    return folder


@pytest.fixture(scope="session")
def library_made(tmp_path_factory, card_made) -> Path:
    """The folder of `library`, filled once; only copied, never opened again."""
    from triage.ingest import ingest
    from triage.library import Library

    folder = tmp_path_factory.mktemp("library-made")
    with Library.create(folder / "library") as made:
        ingest(made, [card_made], by="ann", engine="here")
    return folder / "library"


@pytest.fixture
def card(tmp_path, card_made) -> Path:
    """A folder as a phone's card would hold it: two decks, three photos each, one visit."""
    return Path(shutil.copytree(card_made, tmp_path / "card"))


def hash_of(text: str) -> int:
    return sum(ord(char) * 31**place for place, char in enumerate(text)) % 100_000


@pytest.fixture
def library(tmp_path, card, library_made):
    """An open library with the photos of the card, taken in by `ann`."""
    from triage.library import Library

    shutil.copytree(library_made, tmp_path / "library")
    with Library.open(tmp_path / "library") as made:
        yield made


@pytest.fixture(scope="session")
def demo_rows() -> list[dict[str, str]]:
    """The labels of the demo library."""
    with (SAMPLES / "labels.csv").open() as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="session")
def labeled_library(tmp_path_factory, demo_rows) -> Path:
    """A library of ten demo decks with their labels, made once; copy it before changing it."""
    from triage.ingest import ingest
    from triage.label.files import read_csv_rows
    from triage.label.rows import store_rows
    from triage.library import Library

    folder = tmp_path_factory.mktemp("demo")
    decks = sorted({row["deck"] for row in demo_rows})[:10]
    for deck in decks:
        shutil.copytree(SAMPLES / "photos" / deck, folder / "card" / deck)
    kept = [row for row in demo_rows if row["deck"] in decks]
    with (folder / "labels.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, list(kept[0]))
        writer.writeheader()
        writer.writerows(kept)
    with Library.create(folder / "library") as library:
        ingest(library, [folder / "card"], by="ann")
        result = store_rows(library, *read_csv_rows(folder / "labels.csv"), by="truth")
        assert not result.set_aside
    return folder / "library"


@pytest.fixture(scope="session")
def embedded_library(tmp_path_factory, worker_id, labeled_library) -> Path:
    """`labeled_library` with the vectors of its photos, computed once for all workers; only copied."""
    from triage.features.keep import embed_photos
    from triage.library import Library, queries

    shared = tmp_path_factory.getbasetemp()
    if worker_id != "master":
        shared = shared.parent  # the folder of the whole run
    made = shared / "embedded" / "library"
    with closing(sqlite3.connect(shared / "embedded.lock", timeout=600, isolation_level=None)) as lock:
        lock.execute("BEGIN EXCLUSIVE")  # let go by the system where a worker dies
        if not made.is_dir():
            half = shared / "embedded-half"
            shutil.rmtree(half, ignore_errors=True)
            shutil.copytree(labeled_library, half / "library")
            with Library.open(half / "library") as library:
                done = embed_photos(library, [photo.sha for photo in queries.photos(library)])
                assert not done.set_aside
            half.rename(made.parent)
    return made
