"""The imitated phone: same picture from the same numbers, and EXIF that readers understand."""

import io
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from deckscene.camera import Camera
from deckscene.exif import Moment, encode
from deckscene.phone import PHONES, Exposure, develop, iso_gain
from PIL import Image, ImageOps

CAMERA = Camera((0.0, 1.0, 1.0), (0.0, 0.0, 1.0), 160, 120)
MOMENT = Moment(
    datetime(2026, 5, 4, 9, 30, 5, tzinfo=timezone(timedelta(hours=-5))), 44.31, -86.93, 1 / 120, 80
)


def radiance() -> np.ndarray:
    rng = np.random.default_rng(7)
    return np.repeat(np.repeat(rng.uniform(0.002, 0.02, (12, 16, 3)), 10, 0), 10, 1)


def picture(**exposure: float) -> np.ndarray:
    return develop(radiance(), CAMERA, PHONES[0], Exposure(**exposure), np.random.default_rng(1))


def test_the_same_numbers_give_the_same_picture() -> None:
    assert np.array_equal(picture(), picture())


def test_auto_exposure_does_not_care_how_bright_the_scene_is() -> None:
    dim, bright = (
        develop(radiance() * k, CAMERA, PHONES[0], Exposure(), np.random.default_rng(1)) for k in (1, 50)
    )
    assert np.abs(dim.astype(int) - bright.astype(int)).max() <= 1
    assert 70 < dim.mean() < 170


def test_more_gain_is_more_noise() -> None:
    flat = np.full((120, 160, 3), 0.01)
    spread = [
        develop(flat, CAMERA, PHONES[0], Exposure(iso=k), np.random.default_rng(1))[40:80, 60:100].std()
        for k in (1, 5)
    ]
    assert spread[1] > 1.5 * spread[0]


def test_shake_blurs_and_a_thumb_covers() -> None:
    edges = [np.abs(np.diff(p.astype(float), axis=1)).mean() for p in (picture(), picture(shake_px=8.0))]
    assert edges[1] < 0.6 * edges[0]
    assert np.abs(picture().astype(int) - picture(thumb=0.3)).mean() > 5


def test_gain_is_turned_up_in_the_dark() -> None:
    assert iso_gain(np.full((4, 4, 3), 1.0), False) == 1.0
    assert iso_gain(np.full((4, 4, 3), 0.005), False) == pytest.approx(10**0.5)
    assert iso_gain(np.full((4, 4, 3), 1.0), True) == 5.0


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_reader_that_obeys_orientation_sees_the_upright_picture(orientation: int) -> None:
    upright = np.zeros((120, 160, 3), np.uint8)
    upright[:40, :40] = 255  # bright in the top left corner
    image = Image.open(io.BytesIO(encode(upright, PHONES[1], MOMENT, orientation, quality=95)))
    assert image.size == ((160, 120) if orientation in (1, 3) else (120, 160))
    seen = np.asarray(ImageOps.exif_transpose(image))
    assert seen.shape == upright.shape
    assert np.abs(seen.astype(int) - upright).mean() < 3


def test_exif_says_who_when_and_where() -> None:
    import exifread

    tags = exifread.process_file(
        io.BytesIO(encode(np.zeros((12, 16, 3), np.uint8), PHONES[2], MOMENT)), details=False
    )
    text = {key: str(value) for key, value in tags.items()}
    assert text["Image Make"] == "Pellwin"
    assert text["EXIF DateTimeOriginal"] == "2026:05:04 09:30:05"
    assert text["EXIF OffsetTimeOriginal"] == "-05:00"
    assert text["EXIF FocalLengthIn35mmFilm"] == "30"
    assert text["GPS GPSLatitude"] == "[44, 18, 36]"
    assert text["GPS GPSLongitudeRef"] == "W"
