"""EXIF orientation against the standard's own words and against the published example photos."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from triage.imaging import open_upright
from triage.imaging.decode import turn_upright

PHOTOS = Path(__file__).parents[1] / "data" / "exif_orientation"
# Exif 2.32 (CIPA DC-008-2019), 4.6.4, tag 274: which visual side the 0th row and the 0th column of the stored
# picture are. Read in a public copy of the standard.
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def stored_by_the_standard(upright: np.ndarray, orientation: int) -> np.ndarray:
    """Lay an upright picture out as the standard says, pixel by pixel, from the two named sides."""
    height, width = upright.shape[:2]
    row_side, column_side = SIDES[orientation]
    rows = width if row_side in ("left", "right") else height
    columns = height if row_side in ("left", "right") else width
    stored = np.empty((rows, columns, 3), np.uint8)
    for row in range(rows):
        for column in range(columns):
            steps = {row_side: row, column_side: column}
            y = steps["top"] if "top" in steps else height - 1 - steps["bottom"]
            x = steps["left"] if "left" in steps else width - 1 - steps["right"]
            stored[row, column] = upright[y, x]
    return stored


@pytest.mark.parametrize("orientation", range(1, 9))
def test_pixels_follow_the_standard(orientation: int) -> None:
    upright = np.arange(5 * 7 * 3, dtype=np.uint8).reshape(5, 7, 3)
    stored = stored_by_the_standard(upright, orientation)
    np.testing.assert_array_equal(turn_upright(stored, orientation), upright)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_every_lossless_format_obeys_the_tag(orientation: int, kind: str) -> None:
    upright = np.random.default_rng(1).integers(0, 255, (24, 40, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[0x0112] = orientation
    buffer = io.BytesIO()
    options = {"lossless": True} if kind == "WEBP" else {}
    Image.fromarray(stored_by_the_standard(upright, orientation)).save(buffer, kind, exif=exif, **options)
    image = open_upright(buffer.getvalue())
    np.testing.assert_array_equal(image.rgb, upright)
    assert (image.full_width, image.full_height, image.orientation) == (40, 24, orientation)


@pytest.mark.parametrize("shape", ["Landscape", "Portrait"])
@pytest.mark.parametrize("orientation", range(2, 9))
@pytest.mark.parametrize("long_side_px", [None, 120])
def test_the_published_eight_look_alike(shape: str, orientation: int, long_side_px: int | None) -> None:
    # recurser/exif-orientation-examples (see SOURCE.txt): all eight must show the same upright scene
    first = open_upright(PHOTOS / f"{shape}_1.jpg", long_side_px)
    turned = open_upright(PHOTOS / f"{shape}_{orientation}.jpg", long_side_px)
    assert turned.orientation == orientation
    assert turned.rgb.shape == first.rgb.shape
    assert (turned.full_width, turned.full_height) == (first.full_width, first.full_height)
    difference = np.abs(turned.rgb.astype(int) - first.rgb.astype(int)).mean()
    wrong = np.abs(np.rot90(turned.rgb, 2).astype(int) - first.rgb.astype(int)).mean()
    assert difference < 12 < wrong
