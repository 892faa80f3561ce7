"""Lengths on the plane behind a card, with their 95 % interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.slate.layout import MM_PER_IN
from triage.slate.plane import _STEP, GAP_MM, GAP_SD_MM, PlaneFit, plane_points

Floats = NDArray[np.float64]

CLICK_SD_OF_LONG_SIDE = 1 / 4000
"""How well a person hits a point: one pixel of a twelve-megapixel photo."""
PRINT_SD = 0.0015
"""How far a printer's scale departs from true (common practice: some tenths of a per cent)."""


@dataclass(frozen=True)
class Length:
    """A length between two points of the photo, in inches, with its 95 % interval."""

    start: tuple[float, ...]
    end: tuple[float, ...]
    inches: float
    low: float
    high: float

    def to_json(self) -> dict[str, object]:
        """Return the length in the shape that scripts rely on."""
        return {
            "from": list(self.start),
            "to": list(self.end),
            "inches": round(self.inches, 3),
            "low": round(self.low, 3),
            "high": round(self.high, 3),
        }

    @property
    def relative(self) -> float:
        """Half the interval's width as a fraction of the length."""
        return (self.high - self.low) / 2 / self.inches if self.inches else float("inf")


def length_between(fit: PlaneFit, start_px: Floats, end_px: Floats, click_sd_px: float) -> Length:
    """Return the length between two pixels and its interval.

    Where the photo leaves two poses of the card possible, the interval holds what both say.
    """
    pixels = np.array([start_px, end_px], dtype=np.float64)
    inches = _length(fit, fit.values, GAP_MM, pixels)
    half = _half_width(fit, pixels, inches, click_sd_px)
    low, high = inches - half, inches + half
    if fit.rival is not None:
        other = _length(fit.rival, fit.rival.values, GAP_MM, pixels)
        half = _half_width(fit.rival, pixels, other, click_sd_px)
        low, high = min(low, other - half), max(high, other + half)
    return Length(tuple(pixels[0]), tuple(pixels[1]), inches, max(0.0, low), high)


def _half_width(fit: PlaneFit, pixels: Floats, inches: float, click_sd_px: float) -> float:
    """Half of the 95 % interval, from the fit, the gap behind the paper, the clicks and the printer."""
    from scipy.stats import t

    slope = np.array(
        [
            (
                _length(fit, fit.values + step, GAP_MM, pixels)
                - _length(fit, fit.values - step, GAP_MM, pixels)
            )
            / (2 * step.sum())
            for step in np.diag(_STEP)
        ]
    )
    by_gap = (_length(fit, fit.values, GAP_MM + 1, pixels) - inches) * GAP_SD_MM
    clicks = [
        (_length(fit, fit.values, GAP_MM, pixels + move) - inches) * click_sd_px
        for move in np.eye(4).reshape(4, 2, 2)
    ]
    by_clicks = sum(click**2 for click in clicks)
    variance = slope @ fit.covariance @ slope + by_gap**2 + by_clicks + (inches * PRINT_SD) ** 2
    return float(t.ppf(0.975, fit.freedom) * np.sqrt(variance))


def _length(fit: PlaneFit, values: Floats, gap_mm: float, pixels: Floats) -> float:
    ends = plane_points(fit, values, gap_mm, pixels)
    return float(np.linalg.norm(ends[1] - ends[0]) / MM_PER_IN)
