"""Writes small photos for the tests of the room."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image


def jpeg(rgb: np.ndarray, width: int | None = None, **options: object) -> bytes:
    image = Image.fromarray(np.asarray(rgb))
    if width:
        image = image.resize((width, round(image.height * width / image.width)))
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=92, **options)
    return buffer.getvalue()
