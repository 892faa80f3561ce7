"""A simple photo that shows a card squarely, for tests of commands."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.simulated.slate_views import TEXTURE_PX_PER_MM, card_texture
from triage.slate.card import Card

PX_PER_MM = 3.0
SIZE = (1600, 1200)
CORNER = (60, 260)


def card_photo(card: Card, seed: int = 0) -> np.ndarray:
    """Wood-brown noise with the card at its left, `PX_PER_MM` pixels a mm, shape (1200, 1600, 3)."""
    rng = np.random.default_rng(seed)
    rgb = np.tile(rng.integers(70, 90, (SIZE[1], 1, 1)), (1, SIZE[0], 3)) + rng.integers(
        0, 12, (SIZE[1], SIZE[0], 1)
    )
    face = card_texture(card.layout, card.check, card.text)
    factor = PX_PER_MM / TEXTURE_PX_PER_MM
    small = cv2.resize(face, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) * 255
    high, wide = small.shape
    rgb[CORNER[1] : CORNER[1] + high, CORNER[0] : CORNER[0] + wide] = small[..., None]
    return cv2.GaussianBlur(rgb.astype(np.uint8), (0, 0), 0.8)


def save_photo(path: Path, rgb: np.ndarray, taken_at: str, focal_35mm: int = 26) -> None:
    """Write a JPEG with a time (EXIF form, `2026:05:04 10:00:00`) and a focal length."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Invented", "Phone"
    inner = exif.get_ifd(0x8769)
    inner[0x9003], inner[0xA405] = taken_at, focal_35mm
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(rgb).save(path, exif=exif, quality=92)


def plain_photo(seed: int) -> np.ndarray:
    """A picture without a card, different for each seed."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 255, (9, 12, 3)).astype(np.uint8)
    return np.asarray(cv2.resize(coarse, (640, 480), interpolation=cv2.INTER_CUBIC), dtype=np.uint8)


def beside(x_mm: float, y_mm: float) -> str:
    """`X,Y` of a place right of the card's upper left corner, in mm of the plane."""
    return f"{(CORNER[0] + x_mm * PX_PER_MM) / SIZE[0]:.5f},{(CORNER[1] + y_mm * PX_PER_MM) / SIZE[1]:.5f}"
