"""A small pen for SVG: shapes as text, numbers rounded, every word escaped."""

from __future__ import annotations

from markupsafe import escape

from triage.report.look import HOLLOW, PALETTE, SHAPES
from triage.report.text import clean

DASHES: dict[str, str] = {
    "well": "",
    "at-finding": "4 3",
    "poorly": "7 3",
    "not-seen": "1.5 3.5",
    "concealed": "9 3 1.5 3",
}
"""Line styles of what was seen well, poorly, not at all, or is concealed."""


class Pen:
    """Collects the parts of one drawing."""

    def __init__(self) -> None:
        self.parts: list[str] = []

    def line(
        self, x1: float, y1: float, x2: float, y2: float, seen: str = "well", width: float = 1.2
    ) -> None:
        """Draw a line in the style of what was seen."""
        self.parts.append(
            f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" stroke="{PALETTE["ink"]}" '
            f'stroke-width="{_n(width)}"{_dash(seen)}/>'
        )

    def rect(
        self,
        x: float,
        y: float,
        w: float,
        h: float,
        *,
        fill: str = "none",
        seen: str = "well",
        width: float = 1.2,
    ) -> None:
        """Draw a rectangle in the style of what was seen; `fill` is a name of the palette or 'none'."""
        color = PALETTE.get(fill, "none")
        self.parts.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(w)}" height="{_n(h)}" fill="{color}" '
            f'stroke="{PALETTE["ink"]}" stroke-width="{_n(width)}"{_dash(seen)}/>'
        )

    def dot(self, x: float, y: float, radius: float = 1.6) -> None:
        """Draw a filled dot."""
        self.parts.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{PALETTE["ink"]}"/>')

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 11,
        anchor: str = "start",
        bold: bool = False,
        color: str = "ink",
    ) -> None:
        """Write words; the anchor is 'start', 'middle' or 'end'."""
        weight = ' font-weight="700"' if bold else ""
        self.parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" text-anchor="{anchor}" '
            f'fill="{PALETTE[color]}"{weight}>{escape(clean(words))}</text>'
        )

    def hatch(self, x: float, y: float, w: float, h: float, step: float = 7) -> None:
        """Fill a rectangle with slanted strokes (a wall or the ground that is cut)."""
        at = x - h
        while at < x + w:
            x1, x2 = max(at, x), min(at + h, x + w)
            if x2 > x1:
                y1, y2 = y + h - (x1 - at), y + h - (x2 - at)
                self.parts.append(
                    f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" '
                    f'stroke="{PALETTE["wood_edge"]}" stroke-width="0.7"/>'
                )
            at += step

    def mark(self, x: float, y: float, shape: str, number: int, *, possible: bool) -> None:
        """Draw the shape of a tier, centered, with the number of the concern beside it."""
        outline = possible or shape in HOLLOW
        fill = PALETTE["paper"] if outline else PALETTE[shape]
        dash = ' stroke-dasharray="3 2"' if possible else ""
        self.parts.append(
            f'<g transform="translate({_n(x - 8)} {_n(y - 8)})"><path d="{SHAPES[shape]}" fill="{fill}" '
            f'stroke="{PALETTE[shape]}" stroke-width="1.8"{dash}/></g>'
            f'<rect x="{_n(x + 8)}" y="{_n(y - 7)}" width="{_n(7.5 * len(str(number)) + 2)}" height="14" '
            f'fill="{PALETTE["paper"]}"/>'
        )
        self.text(x + 9, y + 4.5, str(number), size=12, bold=True)

    def svg(self, width: float, height: float, title: str) -> str:
        """Return the drawing as one SVG element."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="sketch" role="img" '
            f'viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}" height="{_n(height)}" '
            f'font-family="DejaVu Sans, sans-serif"><title>{escape(clean(title))}</title>'
            f"{''.join(self.parts)}</svg>"
        )


def glyph(shape: str, size_pt: float = 11) -> str:
    """Return the shape of a tier as a small SVG for running text."""
    fill = "none" if shape in HOLLOW else PALETTE[shape]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="glyph" aria-hidden="true" viewBox="-1 -1 18 18" '
        f'width="{_n(size_pt)}pt" height="{_n(size_pt)}pt"><path d="{SHAPES[shape]}" fill="{fill}" '
        f'stroke="{PALETTE[shape]}" stroke-width="1.8"/></svg>'
    )


def _n(number: float) -> str:
    """Return a number with at most one decimal, the same on every machine."""
    text = f"{number:.1f}"
    return text[:-2] if text.endswith(".0") else text


def _dash(seen: str) -> str:
    pattern = DASHES.get(seen, "")
    return f' stroke-dasharray="{pattern}"' if pattern else ""
