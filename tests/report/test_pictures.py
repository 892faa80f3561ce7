"""Pictures: crops hold the spot, nothing is enlarged, odd files are no end of a report."""

from __future__ import annotations

import base64
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from triage.report.pictures import CROP_SHARE, PRINT_DPI, Pictures, crop_window

share = st.floats(0, 1, allow_nan=False)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(share, share, share, share)
def test_a_crop_lies_in_the_photo_and_holds_the_spot(x: float, y: float, w: float, h: float) -> None:
    w, h = min(w, 1 - x), min(h, 1 - y)
    left, top, wide, high = crop_window((x, y, w, h))
    assert left >= 0
    assert top >= 0
    assert left + wide <= 1 + 1e-9
    assert top + high <= 1 + 1e-9
    assert wide >= CROP_SHARE - 1e-9
    assert left <= x + 1e-9
    assert top <= y + 1e-9
    assert left + wide >= x + w - 1e-9
    assert top + high >= y + h - 1e-9


class Stored:
    def __init__(self, data: bytes) -> None:
        self.data = data

    def jpeg(self, sha: str) -> bytes:
        return self.data


def saved(size: tuple[int, int], mode: str = "RGB", kind: str = "JPEG") -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, 128).save(out, kind)
    return out.getvalue()


@pytest.mark.parametrize("size", [(1, 1), (3, 2000), (2000, 3), (640, 480)])
def test_never_enlarged_and_never_larger_than_asked(size: tuple[int, int]) -> None:
    pictures = Pictures(Stored(saved(size)), {})
    whole = pictures.printed("a" * 64, 900 / PRINT_DPI * 25.4)
    assert whole is not None
    assert whole.width_px <= size[0]
    assert whole.height_px <= size[1]
    assert max(whole.width_px, whole.height_px) == min(900, max(size))
    assert pictures.crop("a" * 64, (0.9, 0.9, 0.0, 0.0)) is not None


@pytest.mark.parametrize(("mode", "kind"), [("L", "JPEG"), ("CMYK", "JPEG"), ("RGBA", "PNG"), ("P", "PNG")])
def test_every_still_picture_becomes_a_plain_jpeg(mode: str, kind: str) -> None:
    picture = Pictures(Stored(saved((20, 10), mode, kind)), {}).thumb("a" * 64)
    assert picture is not None
    with Image.open(io.BytesIO(base64.b64decode(picture.uri.partition(",")[2]))) as image:
        assert (image.format, image.mode, image.size) == ("JPEG", "RGB", (20, 10))


@pytest.mark.parametrize("data", [b"", b"no picture", saved((640, 480))[:800]])
def test_a_broken_picture_gives_none(data: bytes) -> None:
    assert Pictures(Stored(data), {}).thumb("a" * 64) is None
