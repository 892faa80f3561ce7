"""A photo as text: two pixels a character in color, a ramp of characters without.

Works on any terminal and over SSH, because it only prints characters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from rich.segment import Segment

RAMP = " .:-=+*#%@"
LETTERS = "abcdefgh"
NUMBERS = "123456"
"""The lettered grid: columns a to h from the left, rows 1 to 6 from the top of the whole photo."""


@dataclass(frozen=True)
class View:
    """Which part of a photo is shown: center and width in fractions, zoom 1 for all of it."""

    x: float = 0.5
    y: float = 0.5
    zoom: float = 1.0

    def moved(self, right: float, down: float) -> View:
        """Return the view moved by a share of what it shows."""
        return View(self.x + right / self.zoom, self.y + down / self.zoom, self.zoom).inside()

    def zoomed(self, factor: float) -> View:
        """Return the view zoomed in or out around its center, between 1 and 16."""
        return View(self.x, self.y, min(16.0, max(1.0, self.zoom * factor))).inside()

    def inside(self) -> View:
        """Return the view kept inside the photo."""
        half = 0.5 / self.zoom
        return View(min(1 - half, max(half, self.x)), min(1 - half, max(half, self.y)), self.zoom)

    def box(self) -> tuple[float, float, float, float]:
        """Return (left, top, right, bottom) in fractions of the photo."""
        half = 0.5 / self.zoom
        return self.x - half, self.y - half, self.x + half, self.y + half


def fitted(width: int, height: int, columns: int, rows: int) -> tuple[int, int]:
    """Return (columns, rows of characters) that a picture of some pixels fills, aspect kept.

    A character is taken as twice as high as wide.
    """
    scale = min(columns / width, rows * 2 / height)
    return max(1, min(columns, round(width * scale))), max(1, min(rows, round(height * scale / 2)))


def crop(rgb: NDArray[np.uint8], view: View) -> NDArray[np.uint8]:
    """Return the part of an upright photo that a view shows."""
    height, width = rgb.shape[:2]
    left, top, right, bottom = view.box()
    x0, y0 = int(left * width), int(top * height)
    x1, y1 = max(x0 + 1, round(right * width)), max(y0 + 1, round(bottom * height))
    return rgb[y0:y1, x0:x1]


def lines(rgb: NDArray[np.uint8], columns: int, rows: int, color: bool) -> list[list[Segment]]:
    """Return a picture as lines of text, at most `columns` x `rows` characters."""
    import cv2

    size = fitted(rgb.shape[1], rgb.shape[0], columns, rows)
    if not color:
        return _ramp_lines(cv2.cvtColor(_small(rgb, size), cv2.COLOR_RGB2GRAY))
    return _block_lines(_small(rgb, (size[0], size[1] * 2)))


def _small(rgb: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    import cv2

    small: Any = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    return small  # type: ignore[no-any-return]


def _ramp_lines(gray: NDArray[Any]) -> list[list[Segment]]:
    import numpy as np
    from rich.segment import Segment
    from rich.style import Style

    low, high = np.percentile(gray, (2, 98))
    levels = np.clip((gray - low) / max(1.0, high - low), 0, 0.999) * len(RAMP)
    plain = Style()  # a segment without any style is refused where the terminal shows no color
    return [[Segment("".join(RAMP[int(level)] for level in row), plain)] for row in levels]


def _block_lines(pixels: NDArray[np.uint8]) -> list[list[Segment]]:
    from rich.color import Color
    from rich.segment import Segment
    from rich.style import Style

    found = []
    for top, bottom in zip(pixels[0::2].tolist(), pixels[1::2].tolist(), strict=True):
        line: list[Segment] = []
        run, last = "", None
        for upper, lower in zip(top, bottom, strict=True):
            pair = (*upper, *lower)
            if pair != last and run and last is not None:
                line.append(
                    Segment(run, Style(color=Color.from_rgb(*last[:3]), bgcolor=Color.from_rgb(*last[3:])))
                )
                run = ""
            run, last = run + "▀", pair
        if last is not None:
            line.append(
                Segment(run, Style(color=Color.from_rgb(*last[:3]), bgcolor=Color.from_rgb(*last[3:])))
            )
        found.append(line)
    return found


def rulers(view: View, columns: int, rows: int) -> tuple[str, list[str]]:
    """Return the letters along the top and the numbers down the side, where their squares' middles are."""
    left, top, right, bottom = view.box()
    letters = [" "] * columns
    for place, letter in enumerate(LETTERS):
        at = ((place + 0.5) / len(LETTERS) - left) / (right - left)
        if 0 <= at < 1:
            letters[int(at * columns)] = letter
    numbers = [" "] * rows
    for place, number in enumerate(NUMBERS):
        at = ((place + 0.5) / len(NUMBERS) - top) / (bottom - top)
        if 0 <= at < 1:
            numbers[int(at * rows)] = number
    return "".join(letters), numbers


def grid_box(text: str) -> tuple[float, float, float, float]:
    """Return the box of a grid square (`c4`) or of a block of squares (`c4-e5`).

    Raises ValueError for text that names none.
    """
    first, dash, last = text.strip().lower().partition("-")
    x0, y0 = _square(first)
    x1, y1 = _square(last) if dash else (x0, y0)
    left, top = min(x0, x1), min(y0, y1)
    width, height = abs(x1 - x0) + 1, abs(y1 - y0) + 1
    across, down = len(LETTERS), len(NUMBERS)
    return left / across, top / down, width / across, height / down


def _square(text: str) -> tuple[int, int]:
    if len(text) != 2 or text[0] not in LETTERS or text[1] not in NUMBERS:
        raise ValueError(f"{text!r} is no square; squares go from a1 to {LETTERS[-1]}{NUMBERS[-1]}")
    return LETTERS.index(text[0]), NUMBERS.index(text[1])
