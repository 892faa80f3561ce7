"""The look of what is printed: palette, type and spacing, and nothing else.

Every color that carries text keeps a contrast of at least 4.5 to 1 on the paper (WCAG 2.2, 1.4.3); no
meaning hangs on a color alone: each tier has its own shape and its own words.
"""

from __future__ import annotations

PALETTE: dict[str, str] = {
    "paper": "#ffffff",
    "wash": "#f4f4ef",
    "line": "#cdd2cd",
    "ink": "#20272a",
    "muted": "#566066",
    "wood": "#e6ddcb",
    "wood_edge": "#7d6c50",
    "mark": "#b3261e",
    "stop-use": "#8c1d18",
    "repair-before-use": "#8a4b08",
    "repair-this-season": "#5d5a0b",
    "watch": "#2f5a68",
    "nothing-seen": "#566066",
    "not-enough": "#4a4a6a",
}

# Font names stand without quotation marks: every value is printed into the style sheet as it is.
TYPE: dict[str, str] = {
    "family": "Noto Sans, DejaVu Sans, system-ui, sans-serif",
    "mono": "DejaVu Sans Mono, ui-monospace, monospace",
    "small": "8.5pt",
    "body": "10pt",
    "lead": "12pt",
    "deck": "17pt",
    "title": "22pt",
}

SPACE: dict[str, str] = {"hair": "2pt", "small": "5pt", "step": "10pt", "block": "20pt", "margin": "16mm"}

SHAPES: dict[str, str] = {
    "stop-use": "M8 0L16 8L8 16L0 8Z",
    "repair-before-use": "M8 1L16 15L0 15Z",
    "repair-this-season": "M1 1H15V15H1Z",
    "watch": "M8 1A7 7 0 1 1 8 15A7 7 0 1 1 8 1Z",
    "nothing-seen": "M0 7H16V9H0Z",
    "not-enough": "M7 1H9V7H15V9H9V15H7V9H1V7H7Z",
}
"""A path in a box of 16 by 16 for each tier; `not-enough` stands for a tier of null."""

HOLLOW = ("watch",)
"""Shapes that are drawn as an outline."""


def shape_key(tier: str | None) -> str:
    """Return the key of a tier's shape and color."""
    return tier if tier in SHAPES else "not-enough"
