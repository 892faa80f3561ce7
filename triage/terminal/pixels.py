"""The photo in true pixels, where the terminal can draw them: by the kitty graphics protocol or by sixels.

The terminal is asked once, before the screen starts, and the answer is waited for: every terminal answers
the question for its device attributes (DEC's DA1), so what it says before that answer is all it will say.
What came later would be taken for keys. Encoding is textual-image's.
"""

from __future__ import annotations

import io
import os
import re
import select
import struct
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from textual.app import ComposeResult
from textual.strip import Strip

from triage.platforms import has_unix_terminal
from triage.terminal.photo_widget import PhotoWidget
from triage.terminal.picture import LETTERS, NUMBERS, crop

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

KITTY, SIXEL, BLOCKS = "kitty", "sixel", "blocks"
WAYS = ("auto", KITTY, SIXEL, BLOCKS)
WAIT_S = 2.0
_QUESTION = "\x1b_Gi=31,s=1,v=1,a=q,t=d,f=24;AAAA\x1b\\\x1b[16t\x1b[c"
"""Kitty's own question for its protocol, the size of a cell, and device attributes, which all know."""
_ATTRIBUTES = re.compile(r"\x1b\[\?([\d;]*)c")
_KITTY_SAYS_YES = re.compile(r"\x1b_Gi=31;OK\x1b\\")
_CELL = re.compile(r"\x1b\[6;(\d+);(\d+)t")
_USUAL_CELL = (10, 20)


@dataclass(frozen=True)
class Way:
    """How a photo is drawn, and the size of a character cell in pixels (width, height)."""

    name: str = BLOCKS
    cell_px: tuple[int, int] = _USUAL_CELL


def way_of(wanted: str = "auto") -> Way:
    """Return how to draw: what is wanted, or what the terminal says that it can.

    Sixels come before kitty's protocol: some terminals know the latter without the part that is used here.
    Without color, or where nothing is answered, characters are drawn.
    """
    if wanted == BLOCKS or (wanted == "auto" and _hopeless()):
        return Way()
    known = not has_unix_terminal() or (wanted != "auto" and _window_cell() is not None)
    said = "" if known else ask_terminal()
    return way_said(said, wanted, _window_cell())


def way_said(said: str, wanted: str = "auto", window_cell: tuple[int, int] | None = None) -> Way:
    """Return how to draw from what the terminal said to the question."""
    told = _CELL.search(said)
    cell = window_cell or ((int(told[2]), int(told[1])) if told else None) or _USUAL_CELL
    if wanted != "auto":
        return Way(wanted, cell)
    attributes = _ATTRIBUTES.search(said)
    if attributes is not None and "4" in attributes[1].split(";")[1:]:
        return Way(SIXEL, cell)
    return Way(KITTY if _KITTY_SAYS_YES.search(said) else BLOCKS, cell)


def _hopeless() -> bool:
    plain = os.environ.get("TERM", "dumb") in ("dumb", "linux")
    deaf = not has_unix_terminal() or not (sys.stdin.isatty() and sys.stdout.isatty())
    return plain or bool(os.environ.get("NO_COLOR")) or deaf


def ask_terminal(wait_s: float = WAIT_S) -> str:
    """Ask the terminal what it can and return its answer; empty where none comes in time."""
    import termios
    import tty

    stdin = sys.stdin.fileno()
    before = termios.tcgetattr(stdin)
    said, ends = b"", time.monotonic() + wait_s
    try:
        tty.setcbreak(stdin)
        os.write(sys.stdout.fileno(), _QUESTION.encode())
        while not _ATTRIBUTES.search(said.decode("latin-1")) and time.monotonic() < ends:
            if select.select([stdin], [], [], 0.05)[0]:
                said += os.read(stdin, 1024)
    finally:
        termios.tcsetattr(stdin, termios.TCSADRAIN, before)
    return said.decode("latin-1")


def _window_cell() -> tuple[int, int] | None:
    """Return a cell's size in pixels as the terminal's window tells it, or null."""
    if not has_unix_terminal():
        return None
    import fcntl
    import termios

    try:
        packed = fcntl.ioctl(sys.stdout.fileno(), termios.TIOCGWINSZ, bytes(8))
    except (OSError, ValueError):
        return None
    rows, columns, width, height = struct.unpack("HHHH", packed)
    return (width // columns, height // rows) if rows and columns and width and height else None


@contextmanager
def _unasked(cell_px: tuple[int, int]) -> Iterator[None]:
    """Let a library be imported that would ask the terminal itself: it sees none, the cell's size is told."""
    names = ("TEXTUAL_CELL_WIDTH", "TEXTUAL_CELL_HEIGHT")
    stdout, before = sys.__stdout__, {name: os.environ.get(name) for name in names}
    os.environ.update({name: str(size) for name, size in zip(names, cell_px, strict=True)})
    setattr(sys, "__stdout__", io.StringIO())  # noqa: B010 - typed as final, and put back below
    try:
        yield
    finally:
        setattr(sys, "__stdout__", stdout)  # noqa: B010
        for name, value in before.items():
            os.environ.pop(name) if value is None else os.environ.update({name: value})


def image_widget(way: Way) -> Any:
    """Return an empty widget of textual-image for a way of drawing."""
    with _unasked(way.cell_px):
        from textual_image.widget import SixelImage, TGPImage
    return SixelImage() if way.name == SIXEL else TGPImage()


class PixelPhoto(PhotoWidget):
    """Draws the part of a photo that a view shows, in pixels."""

    def __init__(self, way: Way) -> None:
        super().__init__(color=True)
        self._way = way
        self._image = image_widget(way)

    def compose(self) -> ComposeResult:
        """Hold the picture."""
        yield self._image

    def on_resize(self) -> None:
        """Fit the picture into the new room."""
        self.redraw()

    def render_line(self, y: int) -> Strip:
        """Return an empty line: the picture lies over it."""
        return Strip.blank(self.size.width)

    def redraw(self) -> None:
        """Draw the view again."""
        if not self.is_mounted or self.size.width < 4 or self.size.height < 3:
            return
        from PIL import Image

        self._image.display = self._rgb is not None
        if self._rgb is None:
            return
        pixels, columns, rows = self.fitted_pixels(crop(self._marked(), self.view))
        self._image.styles.width, self._image.styles.height = columns, rows
        self._image.image = Image.fromarray(pixels)

    def shown_px(self) -> tuple[int, int]:
        """Return how many pixels wide and high the picture is drawn; (0, 0) where none is."""
        if self._rgb is None or self.size.width < 4 or self.size.height < 3:
            return 0, 0
        height, width = self._rgb.shape[:2]
        wide, high = self._way.cell_px
        scale = min(self.size.width * wide / width, self.size.height * high / height)
        return round(width * scale), round(height * scale)

    def fitted_pixels(self, rgb: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], int, int]:
        """Return a picture scaled to whole cells, and how many columns and rows these are."""
        import cv2

        wide, high = self._way.cell_px
        height, width = rgb.shape[:2]
        scale = min(self.size.width * wide / width, self.size.height * high / height)
        columns, rows = max(1, int(width * scale / wide)), max(1, int(height * scale / high))
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
        pixels: Any = cv2.resize(rgb, (columns * wide, rows * high), interpolation=how)
        if self.grid:
            self._draw_grid(pixels)
        return pixels, columns, rows

    def _draw_grid(self, pixels: NDArray[np.uint8]) -> None:
        """Draw the lettered grid of the whole photo over the part that is shown."""
        import cv2

        left, top, right, bottom = self.view.box()
        height, width = pixels.shape[:2]

        def at(x: float, y: float) -> tuple[int, int]:
            return int((x - left) / (right - left) * width), int((y - top) / (bottom - top) * height)

        for column, letter in enumerate(LETTERS):
            for row, number in enumerate(NUMBERS):
                a = at(column / len(LETTERS), row / len(NUMBERS))
                b = at((column + 1) / len(LETTERS), (row + 1) / len(NUMBERS))
                cv2.rectangle(pixels, a, b, (255, 255, 255), 1)
                for color, thick in (((0, 0, 0), 3), ((255, 255, 255), 1)):
                    place = (a[0] + 4, a[1] + 14)
                    cv2.putText(pixels, letter + number, place, cv2.FONT_HERSHEY_SIMPLEX, 0.42, color, thick)
