"""Small real photos for the tests of imaging, and where optional sample files may lie."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
import skimage.data
from PIL import Image


@pytest.fixture(scope="session")
def coffee() -> np.ndarray:
    """(400, 600, 3) uint8, a photo of an espresso that scikit-image ships."""
    return np.asarray(skimage.data.coffee())


@pytest.fixture(scope="session")
def encoded(coffee: np.ndarray) -> dict[str, bytes]:
    """The photo in every format that may come in."""
    pillow_heif.register_heif_opener(thumbnails=False)
    files = {}
    for kind in ("JPEG", "PNG", "WEBP", "TIFF", "HEIF"):
        buffer = io.BytesIO()
        Image.fromarray(coffee).save(buffer, kind, quality=90)
        files[kind] = buffer.getvalue()
    return files


@pytest.fixture(scope="session")
def exif_samples(real_photos: Path) -> Path:
    """Folder of real EXIF, HEIC and broken samples."""
    return real_photos / "exif"
