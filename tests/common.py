"""What tests of several rooms share: where things lie, and drawn photos."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from PIL import Image

from triage.library import queries

ROOT = Path(__file__).resolve().parent.parent
SAMPLES = ROOT / "sample_photos"
SHARED = Path(os.environ.get("DECK_TRIAGE_SHARED", ROOT.parent / "shared"))


def draw_photo(
    path: Path, *, seed: int, size: tuple[int, int] = (320, 240), exif: dict | None = None
) -> Path:
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
            block.get_ifd(0x8825).update(
                {1: "N" if north >= 0 else "S", 2: _dms(north), 3: "E" if east >= 0 else "W", 4: _dms(east)}
            )  # noqa: E501
        else:
            block[tag] = value
    out.save(path, quality=88, exif=block)
    return path


def _dms(value: float) -> tuple[float, float, float]:
    value = abs(value)
    return (float(int(value)), float(int(value * 60 % 60)), round(value * 3600 % 60, 4))


def answer_everything(library, by: str = "ann") -> None:
    """Answer what is left before a report may be issued: no more defects, and every part is shown once."""
    from triage.label.rows import give_labels
    from triage.report.ready import blocking

    core = library.vocabulary().core
    for one in blocking(library):
        if one.kind == "not-looked-for":
            photo = queries.photos(library, one.deck)[0]
            give_labels(library, [(photo, {f"shows-{one.about}": "present"})], by=by)
        elif one.kind in ("unanswered", "unconfirmed"):
            photo = queries.find_photo(library, one.photo)
            said = {label.tag for label in queries.labels(library, photo=photo.sha)}
            give_labels(library, [(photo, {tag: "absent" for tag in core if tag not in said})], by=by)
    assert blocking(library) == []
