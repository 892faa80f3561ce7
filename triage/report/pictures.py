"""Pictures for paper: small stripped JPEGs as data URIs, crops around a spot, blackouts.

Every picture is decoded and encoded again from its pixels, so no EXIF, thumbnail, profile or comment of the
original can travel in a report. A blackout is painted into the pixels, never laid over them.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from PIL import Image, ImageDraw

from triage.library.records import Box

QUALITY = 80
PRINT_DPI = 200
"""Pixels per inch of paper: a picture holds no more than the size in which it is printed can show."""
PLAN_MM, FINDING_MM, PLATE_MM = 22.0, 58.0, 78.0
"""How wide a photo is printed: in the plan, beside a finding of the two pages, in the record."""
CROP_PX = 560
THUMB_PX = 300
KEPT_OPEN = 6
"""So many decoded photos are kept for the next size."""
CROP_SHARE = 0.3
"""A crop shows at least this share of the photo's width and height."""
CROP_MARGIN = 0.6
"""Room around a marked spot, as a share of the spot's own size on each side."""


class PhotoProvider(Protocol):
    """Where pictures come from: the bytes of an upright JPEG (or other still picture) by hash."""

    def jpeg(self, sha: str) -> bytes:
        """Return the bytes of the upright rendition; raises KeyError or OSError where there is none."""
        ...


@dataclass(frozen=True)
class Picture:
    """A picture ready for print. `marks` are boxes in fractions of this picture; `uri` a JPEG data URI."""

    uri: str
    width_px: int
    height_px: int
    marks: tuple[Box, ...] = ()


class Pictures:
    """Makes pictures of photos, each at most once per size; a photo that cannot be read gives None."""

    def __init__(self, provider: PhotoProvider, blackouts: Mapping[str, Sequence[Box]]) -> None:
        self._provider = provider
        self._blackouts = blackouts
        self._kept: dict[tuple[object, ...], Picture | None] = {}
        self._open: dict[str, Image.Image | None] = {}
        self.unreadable: set[str] = set()
        """The photos that were asked for and could not be shown."""

    def printed(self, sha: str, wide_mm: float, marks: Sequence[Box] = ()) -> Picture | None:
        """Return the whole photo with its marks, at the size in which it is printed."""
        return self._made(sha, None, round(wide_mm / 25.4 * PRINT_DPI), tuple(marks))

    def thumb(self, sha: str, marks: Sequence[Box] = ()) -> Picture | None:
        """Return the photo at thumbnail size with its marks."""
        return self._made(sha, None, THUMB_PX, tuple(marks))

    def crop(self, sha: str, box: Box) -> Picture | None:
        """Return the surroundings of a box or point, with the spot marked."""
        window = crop_window(box)
        return self._made(sha, window, CROP_PX, (_inside(box, window),))

    def _made(self, sha: str, window: Box | None, long_px: int, marks: tuple[Box, ...]) -> Picture | None:
        key = (sha, window, long_px)
        if key not in self._kept:
            self._kept[key] = self._make(sha, window, long_px)
        made = self._kept[key]
        return made and Picture(made.uri, made.width_px, made.height_px, marks)

    def _make(self, sha: str, window: Box | None, long_px: int) -> Picture | None:
        image = self._decoded(sha)
        if image is None:
            return None
        if window is not None:
            image = image.crop(_pixels(window, image.width, image.height))
        return encode(image, long_px)

    def _decoded(self, sha: str) -> Image.Image | None:
        if sha not in self._open:
            while len(self._open) >= KEPT_OPEN:
                del self._open[next(iter(self._open))]
            self._open[sha] = blacked(self._provider, sha, self._blackouts.get(sha, ()))
            if self._open[sha] is None:
                self.unreadable.add(sha)
        return self._open[sha]


def blacked(provider: PhotoProvider, sha: str, boxes: Sequence[Box]) -> Image.Image | None:
    """Return the pixels of a photo with the boxes painted over, or None where it cannot be read."""
    try:
        with Image.open(io.BytesIO(provider.jpeg(sha))) as opened:
            image = opened.convert("RGB")
    except (KeyError, OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        return None
    draw = ImageDraw.Draw(image)
    for x, y, w, h in boxes:
        corners = [x * image.width, y * image.height, (x + w) * image.width, (y + h) * image.height]
        draw.rectangle(corners, fill=(0, 0, 0))
    return image


def encode(image: Image.Image, long_px: int) -> Picture:
    """Return the picture at no more than `long_px` on the long side (never enlarged), stripped."""
    scale = min(1.0, long_px / max(image.size))
    size = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    small = image if size == image.size else image.resize(size, Image.Resampling.LANCZOS)
    bare = Image.new("RGB", small.size)
    bare.paste(small)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    uri = "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode("ascii")
    return Picture(uri, *size)


def crop_window(box: Box) -> Box:
    """Return the window (fractions) that shows a box or point with room around it, inside the photo."""
    x, y, w, h = box
    side = min(1.0, max(CROP_SHARE, max(w, h) * (1 + 2 * CROP_MARGIN)))
    left = min(max(0.0, x + w / 2 - side / 2), 1.0 - side)
    top = min(max(0.0, y + h / 2 - side / 2), 1.0 - side)
    return (left, top, side, side)


def _inside(box: Box, window: Box) -> Box:
    x, y, w, h = box
    left, top, wide, high = window
    return ((x - left) / wide, (y - top) / high, w / wide, h / high)


def _pixels(window: Box, width_px: int, height_px: int) -> tuple[int, int, int, int]:
    """Return a window's edges in pixels, at least one pixel wide and high, inside the picture."""
    x, y, w, h = window
    left, top = min(round(x * width_px), width_px - 1), min(round(y * height_px), height_px - 1)
    right, bottom = round((x + w) * width_px), round((y + h) * height_px)
    return (left, top, min(max(right, left + 1), width_px), min(max(bottom, top + 1), height_px))
