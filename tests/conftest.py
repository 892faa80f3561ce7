"""What all tests share: the demo photos, small libraries made from them, the optional real photos."""

from __future__ import annotations

import csv
import os
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

ROOT = Path(__file__).resolve().parent.parent
SAMPLES = ROOT / "sample_photos"
SHARED = Path(os.environ.get("DECK_TRIAGE_SHARED", ROOT.parent / "shared"))


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch):
    for name in ("DECK_TRIAGE_LIBRARY", "DECK_TRIAGE_BY", "DECK_TRIAGE_DATABASE"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture(scope="session")
def real_photos() -> Path:
    """The folder of real, openly licensed photos; skips where it is absent, never in CI."""
    folder = SHARED / "photos"
    if not folder.is_dir():
        reason = f"the real photos are not here ({folder}); set DECK_TRIAGE_SHARED"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return folder


def draw_photo(path: Path, *, seed: int, size: tuple[int, int] = (320, 240), exif: dict | None = None) -> Path:
    """Draw a photo-like picture: smooth noise with a few shapes, different for each seed."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(40, 215, (6, 8, 3), dtype=np.uint8)
    picture = Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)
    grain = rng.normal(0, 6, (size[1], size[0], 3))
    pixels = np.clip(np.asarray(picture) + grain, 0, 255).astype(np.uint8)
    path.parent.mkdir(parents=True, exist_ok=True)
    out = Image.fromarray(pixels)
    block = Image.Exif()
    for tag, value in (exif or {}).items():
        if tag == "taken_at":
            block.get_ifd(0x8769)[0x9003] = value
        elif tag == "offset":
            block.get_ifd(0x8769)[0x9011] = value
        elif tag == "gps":
            north, east = value
            block.get_ifd(0x8825).update({1: "N" if north >= 0 else "S", 2: _dms(north), 3: "E" if east >= 0 else "W", 4: _dms(east)})  # fmt: skip # noqa: E501
        else:
            block[tag] = value
    out.save(path, quality=88, exif=block)
    return path


def _dms(value: float) -> tuple[float, float, float]:
    value = abs(value)
    return (float(int(value)), float(int(value * 60 % 60)), round(value * 3600 % 60, 4))


@pytest.fixture
def photo_maker():
    return draw_photo


@pytest.fixture
def card(tmp_path) -> Path:
    """A folder as a phone's card would hold it: two decks, three photos each, one visit."""
    for deck in ("D-17", "D-18"):
        for number in range(3):
            draw_photo(
                tmp_path / "card" / deck / f"IMG_041{number}.jpg",
                seed=hash_of(deck) + number,
                exif={271: "Invented", 272: "Phone 1", "taken_at": f"2026:05:04 10:1{number}:00"},
            )
    return tmp_path / "card"


def hash_of(text: str) -> int:
    return sum(ord(char) * 31**place for place, char in enumerate(text)) % 100_000


@pytest.fixture
def library(tmp_path, card):
    """An open library with the photos of the card, taken in by `ann`."""
    from triage.ingest import ingest
    from triage.library import Library

    with Library.create(tmp_path / "library") as made:
        ingest(made, [card], by="ann", engine="here")
        yield made


@pytest.fixture(scope="session")
def demo_rows() -> list[dict[str, str]]:
    """The labels of the demo library."""
    with (SAMPLES / "labels.csv").open() as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="session")
def labelled_library(tmp_path_factory, demo_rows) -> Path:
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
