"""The widget that draws a photo: zoom, pan, grid rulers, marked places."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from triage.terminal.picture import View, crop, fitted, lines, rulers

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from triage.library.records import Box

_MARK = (255, 210, 0)


class PhotoWidget(Widget):
    """Draws the part of a photo that a view shows, as characters."""

    def __init__(self, *, color: bool, id: str | None = None) -> None:  # noqa: A002 - textual's own name
        super().__init__(id=id)
        self._color = color
        self._rgb: NDArray[np.uint8] | None = None
        self._path: Path | None = None
        self._bytes: bytes | None = None
        self._boxes: Sequence[Box] = ()
        self._drawn: tuple[object, list[Strip]] | None = None
        self.view = View()
        self.grid = False

    def show(self, path: Path | None, *, boxes: Sequence[Box] = ()) -> None:
        """Show a photo (an upright JPEG), or nothing; another photo is shown whole."""
        if path != self._path:
            self._path, self.view = path, View()
            self._rgb = None
            if path is not None:
                from triage.imaging import open_upright

                self._rgb = open_upright(path).rgb
        self._boxes = tuple(boxes)
        self._drawn = None
        self.redraw()

    def show_bytes(self, picture: bytes | None) -> None:
        """Show a small picture given as a file's bytes, or nothing."""
        if picture == self._bytes:
            return
        self._bytes, self._rgb, self.view = picture, None, View()
        if picture is not None:
            import cv2
            import numpy as np

            bgr = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR)
            self._rgb = None if bgr is None else np.ascontiguousarray(bgr[:, :, ::-1])
        self._drawn = None
        self.redraw()

    def redraw(self) -> None:
        """Draw the view again."""
        self.refresh()

    def shown_px(self) -> tuple[int, int]:
        """Return how many dots wide and high the picture is drawn; (0, 0) where none is."""
        if self._rgb is None or self.size.width < 4 or self.size.height < 3:
            return 0, 0
        margin = 1 if self.grid else 0
        height, width = self._rgb.shape[:2]
        columns, rows = fitted(width, height, self.size.width - margin, self.size.height - margin)
        return columns, rows * 2 if self._color else rows

    def zoom(self, factor: float) -> None:
        """Zoom in (above 1) or out."""
        self.view = self.view.zoomed(factor)
        self.redraw()

    def pan(self, right: float, down: float) -> None:
        """Move by a share of what is shown."""
        self.view = self.view.moved(right, down)
        self.redraw()

    def whole(self) -> None:
        """Show the whole photo."""
        self.view = View()
        self.redraw()

    def render_line(self, y: int) -> Strip:
        """Return one line of characters."""
        key = (self.view, self.grid, self._path, self._boxes, self.size)
        if self._drawn is None or self._drawn[0] != key:
            self._drawn = (key, self._draw())
        strips = self._drawn[1]
        return strips[y] if y < len(strips) else Strip.blank(self.size.width, Style())

    def _draw(self) -> list[Strip]:
        if self._rgb is None or self.size.width < 4 or self.size.height < 3:
            return []
        margin = 1 if self.grid else 0
        pixels = crop(self._marked(), self.view)
        drawn = lines(pixels, self.size.width - margin, self.size.height - margin, self._color)
        if not self.grid:
            return [Strip(line) for line in drawn]
        columns = sum(segment.cell_length for segment in drawn[0])
        letters, numbers = rulers(self.view, columns, len(drawn))
        bold = Style(bold=True)
        head = Strip([Segment(" " + letters, bold)])
        return [
            head,
            *(Strip([Segment(number, bold), *line]) for number, line in zip(numbers, drawn, strict=True)),
        ]

    def _marked(self) -> NDArray[np.uint8]:
        assert self._rgb is not None  # noqa: S101 - _draw looked
        if not self._boxes:
            return self._rgb
        import cv2

        marked = self._rgb.copy()
        height, width = marked.shape[:2]
        thick = max(2, round(width / 150 / self.view.zoom))
        for x, y, w, h in self._boxes:
            if w == 0 or h == 0:
                cv2.circle(marked, (round(x * width), round(y * height)), 5 * thick, _MARK, thick)
            else:
                corner = (round((x + w) * width) - 1, round((y + h) * height) - 1)
                cv2.rectangle(marked, (round(x * width), round(y * height)), corner, _MARK, thick)
        return marked
