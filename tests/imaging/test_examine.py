"""One decode tells ingest everything."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from triage.errors import BadPhoto
from triage.imaging import examine, open_upright


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_examine(encoded: dict[str, bytes], tmp_path: Path, kind: str) -> None:
    path = tmp_path / "photo"
    path.write_bytes(encoded[kind])
    seen = examine(path)
    assert (seen.width, seen.height, seen.orientation) == (600, 400, 1)
    assert Image.open(io.BytesIO(seen.rendition_jpeg)).size == (600, 400)
    assert len(seen.phash) == 64
    assert json.loads(json.dumps(dict(seen.quality))) == dict(seen.quality)
    assert set(seen.quality) >= {"blurred", "dark", "far"}


def test_a_large_turned_photo(coffee: np.ndarray) -> None:
    large = Image.fromarray(coffee).resize((2400, 1600))
    exif = Image.Exif()
    exif[0x0112] = 8
    buffer = io.BytesIO()
    large.save(buffer, "JPEG", exif=exif)
    seen = examine(buffer.getvalue())
    assert (seen.width, seen.height, seen.orientation) == (1600, 2400, 8)
    rendition = Image.open(io.BytesIO(seen.rendition_jpeg))
    assert rendition.size == (1067, 1600)
    upright = open_upright(buffer.getvalue(), 1600).rgb
    assert np.abs(np.asarray(rendition).astype(int) - upright).mean() < 4


def test_distance_and_focal_length_of_the_camera_are_used(coffee: np.ndarray) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9206] = 9.0
    exif.get_ifd(0x8769)[0xA405] = 52
    buffer = io.BytesIO()
    Image.fromarray(coffee).save(buffer, "JPEG", exif=exif)
    # 36 mm / 52 mm * 9 m = 6.23 m wide; 600 px / 6231 mm * 8.7 mm = 0.84 px
    assert examine(buffer.getvalue()).quality["nail_head_px"] == pytest.approx(0.84, abs=0.01)


def test_one_pixel_photo() -> None:
    buffer = io.BytesIO()
    Image.new("RGB", (1, 1)).save(buffer, "PNG")
    assert examine(buffer.getvalue()).width == 1


def test_bad_photo_has_a_reason() -> None:
    with pytest.raises(BadPhoto, match="text file") as caught:
        examine(b"not a photo at all")
    assert caught.value.reason == str(caught.value)
