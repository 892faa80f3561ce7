"""Cards as vector PDF: front with markers, QR code, words and a ruler line; back with the shot list.

Drawn with reportlab: pure Python, BSD license, no system libraries, exact lengths. Every marker and QR code
is one filled path, so that no viewer shows seams between its cells.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.errors import BadInput
from triage.slate.card import Card
from triage.slate.layout import DICTIONARY, MARKER_CELLS, MM_PER_IN, QUIET_MODULES

POINTS_PER_MM = 72 / MM_PER_IN
SHEET_MM = {"letter": (279.4, 215.9), "a4": (297.0, 210.0), "pocket": (215.9, 279.4)}
"""Sheet of paper per card, width and height: two pocket cards go on one upright Letter sheet to be cut."""
PER_SHEET = {"letter": 1, "a4": 1, "pocket": 2}
BOLD, PLAIN = "Helvetica-Bold", "Helvetica"
LARGEST_TEXT_MM, SMALLEST_TEXT_MM = 5.5, 1.8


class _Pen:
    """A drawing surface in mm on one card: origin at the card's middle, y down."""

    def __init__(self, canvas: Any, middle_mm: tuple[float, float], sheet_height_mm: float) -> None:
        self.canvas, self.middle, self.height = canvas, middle_mm, sheet_height_mm

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Points on the sheet (reportlab's y runs up)."""
        return (self.middle[0] + x) * POINTS_PER_MM, (self.height - self.middle[1] - y) * POINTS_PER_MM

    def cells(self, dark: NDArray[np.bool_], left: float, top: float, side: float) -> None:
        """Fill the dark cells of a square pattern as one path."""
        path = self.canvas.beginPath()
        cell = side / len(dark)
        for row, column in np.argwhere(dark):
            x, y = self.at(left + column * cell, top + (row + 1) * cell)
            path.rect(x, y, cell * POINTS_PER_MM, cell * POINTS_PER_MM)
        self.canvas.drawPath(path, stroke=0, fill=1)

    def words(
        self, x: float, y: float, text: str, size_mm: float, font: str = PLAIN, ink: float = 0.0
    ) -> None:
        """Write one line with its baseline's left end at (x, y); the size is the font's height."""
        self.canvas.setFillGray(ink)
        self.canvas.setFont(font, size_mm * POINTS_PER_MM)
        self.canvas.drawString(*self.at(x, y), text)
        self.canvas.setFillGray(0)

    def line(self, x0: float, y0: float, x1: float, y1: float, width_mm: float = 0.3) -> None:
        """Draw a straight line with square-cut ends."""
        self.canvas.setLineWidth(width_mm * POINTS_PER_MM)
        self.canvas.line(*self.at(x0, y0), *self.at(x1, y1))

    def box(self, x: float, y: float, width: float, height: float, fill: bool) -> None:
        """Draw a rectangle from its upper left corner."""
        self.canvas.setLineWidth(0.3 * POINTS_PER_MM)
        left, low = self.at(x, y + height)
        self.canvas.rect(left, low, width * POINTS_PER_MM, height * POINTS_PER_MM, stroke=not fill, fill=fill)


def write_cards(path: Path, cards: Sequence[Card], shots: Mapping[str, Sequence[str]] | None = None) -> None:
    """Write cards of one paper to a PDF, each with its back behind it, ready for printing on both sides.

    `shots` holds the lines of the back per deck, in walking order. Raises BadInput for no cards, mixed
    papers, a deck whose letters cannot be printed, or a shot list that is too long for the back.
    """
    if not cards:
        raise BadInput("No deck was named.", "Name the decks that you want cards for.")
    papers = {card.paper for card in cards}
    if len(papers) > 1:
        raise BadInput("cards of one file must be of one size: " + ", ".join(sorted(papers)))
    paper = papers.pop()
    canvas = _canvas(path, paper)
    step = PER_SHEET[paper]
    for first in range(0, len(cards), step):
        sheet = cards[first : first + step]
        for face in (_front, _back):
            for place, card in enumerate(sheet):
                pen = _Pen(canvas, _middle(paper, place), SHEET_MM[paper][1])
                face(pen, card, (shots or {}).get(card.deck, ()))
            canvas.showPage()
    canvas.save()


def _canvas(path: Path, paper: str) -> Any:
    from reportlab.pdfgen.canvas import Canvas

    width, height = SHEET_MM[paper]
    canvas = Canvas(str(path), pagesize=(width * POINTS_PER_MM, height * POINTS_PER_MM), invariant=1)
    canvas.setTitle("Deck cards")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setViewerPreference("Duplex", "DuplexFlipLongEdge" if paper == "pocket" else "DuplexFlipShortEdge")
    return canvas


def _middle(paper: str, place: int) -> tuple[float, float]:
    width, height = SHEET_MM[paper]
    return width / 2, height * (2 * place + 1) / (2 * PER_SHEET[paper])


def _front(pen: _Pen, card: Card, _shots: Sequence[str]) -> None:
    layout = card.layout
    if PER_SHEET[card.paper] > 1:
        pen.box(-layout.width_mm / 2, -layout.height_mm / 2, layout.width_mm, layout.height_mm, fill=False)
    for cells, corners in zip(_markers(card), layout.marker_corners, strict=True):
        pen.cells(cells, corners[0][0], corners[0][1], layout.marker_mm)
    left, top, right, _ = layout.qr_zone
    code = qr_cells(card)
    module = (right - left) / (len(code) + 2 * QUIET_MODULES)
    pen.cells(code, left + QUIET_MODULES * module, top + QUIET_MODULES * module, len(code) * module)
    _name(pen, card)
    _ruler(pen, card)
    _hints(pen, card)


def _markers(card: Card) -> list[NDArray[np.bool_]]:
    import cv2

    words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    ids = card.layout.marker_ids(card.check)
    return [cv2.aruco.generateImageMarker(words, one, MARKER_CELLS) < 128 for one in ids]


def qr_cells(card: Card) -> NDArray[np.bool_]:
    """Dark modules of the card's QR code without its quiet border, shape (n, n); level M or better."""
    import segno

    code = segno.make(card.text, error="m", micro=False, boost_error=True)
    return np.array([list(row) for row in code.matrix], dtype=np.bool_)


def printable(text: str) -> str:
    """Return text in the letters that the card's font has; raises BadInput where none would be left."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().strip()
        if not plain:
            raise BadInput(
                f"Deck '{text}' has no letters that the card can print.", "Use Latin letters."
            ) from None
        return plain
    return text


def _fit(text: str, font: str, wide_mm: float, most_mm: float) -> float:
    """Return the largest font size in mm at which a line fits."""
    return min(most_mm, wide_mm / max(_width(text, font, 1.0), 1e-6))


def _width(text: str, font: str, size_mm: float) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, font, size_mm))


def _name(pen: _Pen, card: Card) -> None:
    """START or END, the deck in the largest letters that fit, the visit."""
    layout = card.layout
    unit = layout.marker_mm / 42
    left = layout.qr_zone[2] + 1 * unit
    wide = layout.block_width_mm / 2 - left
    top = -layout.block_height_mm / 2 + layout.marker_mm + 4 * unit
    down = (layout.block_height_mm - 2 * layout.marker_mm) / 106
    tall = 15 * down
    pen.box(left, top, wide, tall, fill=card.closing)
    if not card.closing:
        pen.box(left + 0.8 * unit, top + 0.8 * unit, wide - 1.6 * unit, tall - 1.6 * unit, fill=False)
    head = "END OF DECK" if card.closing else "START OF DECK"
    pen.words(left + 4 * unit, top + tall - 4 * down, head, 10.5 * down, BOLD, 1.0 if card.closing else 0.0)
    deck = printable(card.deck)
    size = _fit(deck, BOLD, wide, 33 * down)
    pen.words(left, top + tall + 5 * down + 0.76 * max(size, 20 * down), deck, size, BOLD)
    visit = f"visit {card.visit}" if card.visit else "visit of ____ - ____ - ____"
    pen.words(left, top + tall + 44 * down, visit, 9 * down)


def _ruler(pen: _Pen, card: Card) -> None:
    layout = card.layout
    unit = layout.marker_mm / 42
    long = layout.ruler_in * MM_PER_IN
    left = layout.block_width_mm / 2 - long - 1.0
    y = layout.block_height_mm / 2 - layout.marker_mm - 15 * unit
    pen.line(left, y, left + long, y)
    for tick in range(layout.ruler_in * 4 + 1):
        tall = (5.0 if tick % 4 == 0 else 3.2 if tick % 2 == 0 else 2.0) * max(unit, 0.7)
        pen.line(left + tick * MM_PER_IN / 4, y, left + tick * MM_PER_IN / 4, y - tall, 0.25)
    for inch in range(layout.ruler_in + 1):
        pen.words(left + inch * MM_PER_IN + 0.6, y - 5.4 * max(unit, 0.7), str(inch), 4 * unit)
    said = f"This line is {layout.ruler_in} in ({long:.1f} mm) from 0 to {layout.ruler_in}. If yours is not:"
    mend = "print again at 100 %, without 'fit to page'."
    size = min(_fit(said, PLAIN, long, 5 * unit), 5 * unit)
    pen.words(left, y + 5 * unit, said, size)
    pen.words(left, y + 10.5 * unit, mend, size)
    printed = f"{card.paper} {card.library[:8]}"
    pen.words(left + long - _width(printed, PLAIN, 3.4 * unit), y + 10.5 * unit, printed, 3.4 * unit)


def _hints(pen: _Pen, card: Card) -> None:
    """Short words in the gaps of the marker rows: how to use the card."""
    layout = card.layout
    unit = layout.marker_mm / 42
    gap = (layout.block_width_mm - 3 * layout.marker_mm) / 2
    columns = (-layout.block_width_mm / 2 + layout.marker_mm, layout.marker_mm / 2)
    rows = (-layout.block_height_mm / 2, layout.block_height_mm / 2 - layout.marker_mm)
    closing = card.closing
    texts = {
        (0, 0): ("Tape it flat,", "in the plane of", "the ledger."),
        (1, 0): ("Show all six", "squares, nothing", "over them."),
        (0, 1): ("Photograph this", "card last." if closing else "card first."),
        (1, 1): ("Photos after it", "belong to no deck." if closing else "belong to this deck."),
    }
    size = min(_fit(max(t, key=len), PLAIN, gap - 8 * unit, 7 * unit) for t in texts.values())
    for (column, row), lines in texts.items():
        middle = rows[row] + layout.marker_mm / 2 - 1.3 * size * (len(lines) - 1) / 2 + 0.35 * size
        for number, line in enumerate(lines):
            pen.words(columns[column] + 4 * unit, middle + 1.3 * size * number, line, size)


def _back(pen: _Pen, card: Card, shots: Sequence[str]) -> None:
    """The shot list in two columns, with a box to tick before each entry, as large as it fits."""
    layout = card.layout
    unit = layout.marker_mm / 42
    left, top = -layout.block_width_mm / 2, -layout.block_height_mm / 2
    head = f"What to photograph at {printable(card.deck)}, in walking order"
    size = _fit(head, BOLD, layout.block_width_mm, 9 * unit)
    pen.words(left, top + size, head, size, BOLD)
    pen.line(left, top + size + 3 * unit, -left, top + size + 3 * unit)
    foot = "What was not photographed counts as not seen, never as fine."
    foot_size = _fit(foot, BOLD, layout.block_width_mm, 5.5 * unit)
    pen.words(left, layout.block_height_mm / 2, foot, foot_size, BOLD)
    low = top + size + 6 * unit
    tall = layout.block_height_mm / 2 - foot_size - 4 * unit - low
    wide = layout.block_width_mm / 2 - 4 * unit
    text_mm, columns = _set([printable(text) for text in shots], wide, tall, card.deck)
    for number, column in enumerate(columns):
        _column(pen, column, left + number * (wide + 8 * unit), low, text_mm)


def _set(texts: list[str], wide: float, tall: float, deck: str) -> tuple[float, list[list[list[str]]]]:
    """Largest text at which all entries fit in two columns, and the entries' lines per column."""
    from reportlab.lib.utils import simpleSplit

    text_mm = LARGEST_TEXT_MM
    while text_mm >= SMALLEST_TEXT_MM:
        entries = [simpleSplit(text, PLAIN, text_mm, wide - 2 * text_mm) for text in texts]
        columns: list[list[list[str]]] = [[], []]
        for entry in entries:
            place = 0 if not columns[1] and _height([*columns[0], entry], text_mm) <= tall else 1
            columns[place].append(entry)
        if _height(columns[1], text_mm) <= tall:
            return text_mm, columns
        text_mm *= 0.95
    raise BadInput(
        f"The shot list of deck '{deck}' is too long for the back of the card.", "Take a larger card."
    )


def _height(entries: list[list[str]], text_mm: float) -> float:
    return sum((1.25 * len(entry) + 0.7) * text_mm for entry in entries)


def _column(pen: _Pen, entries: list[list[str]], x: float, top: float, text_mm: float) -> None:
    y = top
    for entry in entries:
        pen.box(x, y + 0.1 * text_mm, 1.1 * text_mm, 1.1 * text_mm, fill=False)
        for number, line in enumerate(entry):
            pen.words(x + 2 * text_mm, y + (0.98 + 1.25 * number) * text_mm, line, text_mm)
        y += (1.25 * len(entry) + 0.7) * text_mm
