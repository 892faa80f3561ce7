"""Measuring in a photo that shows a card: what may be measured, what is refused and why.

Points are fractions of the upright photo, x right and y down, as boxes are. They must lie in the plane that
the card lies in; a photo of one card cannot prove that, so what contradicts it is looked for (a card that is
not flat, edges of boards that would converge) and the words say it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.errors import TriageError, WrongUsage
from triage.slate.layout import MM_PER_IN
from triage.slate.lengths import CLICK_SD_OF_LONG_SIDE, Length, length_between
from triage.slate.markers import Pixels, gray_of, side_points
from triage.slate.plane import Frame, PlaneFit, fit_plane, frame_of
from triage.slate.read import CardSeen, read_card
from triage.slate.sheet import PrintedScale, printed_scale
from triage.slate.straight import convergence_deg

Floats = NDArray[np.float64]

FEWEST_MARKERS = 3
SMALLEST_CELL_PX = 2.2
"""Cells of the markers that are smaller across run together, and the sides are found in the wrong place."""
MOST_OBLIQUE_DEG = 66.0
MOST_BEND_PER_M = 1.6
MOST_SIDE_SD = 0.022
"""Scatter of the markers' sides about the fit, as a fraction of a marker's side: more is no flat card."""
LEAST_SIDE_SD_PX = 0.5
MOST_RELATIVE = 0.10
"""A length that is less sure than this is refused."""
FARTHEST_IN = 96.0
MOST_CONVERGENCE_DEG = 2.0


class CannotMeasure(TriageError):
    """Nothing, or this length, can be measured in the photo; the sentence says why."""


@dataclass(frozen=True)
class Measurable:
    """A photo in which lengths can be measured: the card, its plane, the scale and remarks for the reader."""

    seen: CardSeen
    fit: PlaneFit
    scale: float
    printed: PrintedScale | None
    remarks: tuple[str, ...]

    @property
    def size(self) -> Floats:
        """Width and height of the photo in pixels."""
        return np.array([self.fit.frame.width, self.fit.frame.height], dtype=np.float64)

    def pixels(self, points: Sequence[tuple[float, float]]) -> Floats:
        """Pixels of points of the photo, shape (n, 2)."""
        return np.asarray(np.array(points, dtype=np.float64) * self.size - 0.5 - self.fit.frame.corner)

    def to_inches(self, points: Sequence[tuple[float, float]]) -> Floats:
        """Places on the plane in inches from the card's middle, x right and y down, shape (n, 2)."""
        return self.fit.to_plane(self.pixels(points)) * self.scale / MM_PER_IN

    def to_photo(self, inches: Floats) -> Floats:
        """Fractions of the photo for places on the plane in inches, shape (n, 2)."""
        pixels = self.fit.to_pixels(inches * MM_PER_IN / self.scale)
        return np.asarray((pixels + self.fit.frame.corner + 0.5) / self.size)


def measurable(
    rgb: Pixels,
    focal_35mm: float | None = None,
    library_id: str | None = None,
    ruler_in: float | None = None,
) -> Measurable:
    """Find the card in an upright photo, shape (h, w, 3), and fit its plane.

    `focal_35mm` is EXIF's FocalLengthIn35mmFilm where there is one; `ruler_in` what the card's ruler line
    really measures, where the printer scaled it. Raises CannotMeasure with the reason.
    """
    return measurable_in(rgb, frame_of(rgb.shape[1], rgb.shape[0], focal_35mm), library_id, ruler_in)


def measurable_in(
    rgb: Pixels, frame: Frame, library_id: str | None = None, ruler_in: float | None = None
) -> Measurable:
    """Do the same for a picture whose frame is known, which may be a part of a larger one."""
    seen = read_card(rgb, library_id)
    if seen is None:
        raise CannotMeasure(
            "No card is seen in this photo.", "Take one with a card in the plane to be measured."
        )
    _refuse_problem(seen)
    gray = gray_of(rgb)
    layout = seen.markers[0].layout
    fit = fit_plane(layout, list(seen.markers), side_points(gray, list(seen.markers)), frame)
    _refuse_fit(fit, seen)
    printed = printed_scale(gray, fit)
    scale = _scale(fit, printed, ruler_in)
    turn = convergence_deg(gray, fit)
    if turn is not None and abs(turn) > MOST_CONVERGENCE_DEG:
        raise CannotMeasure(
            f"The card is out of plane: long edges would converge by {abs(turn):.1f} degrees a foot.",
            "Lay the card flat in the plane that is to be measured.",
        )
    return Measurable(seen, fit, scale, printed, _remarks(fit, printed, ruler_in))


def lengths(found: Measurable, points: Sequence[tuple[float, float]]) -> list[Length]:
    """Return the lengths from each point to the next. Raises WrongUsage or CannotMeasure."""
    if len(points) < 2:
        raise WrongUsage(
            "A length needs two points.", "Give two or more points as X,Y fractions of the photo."
        )
    for x, y in points:
        if not (0 <= x <= 1 and 0 <= y <= 1):
            raise WrongUsage(
                f"The point {x:g},{y:g} is not in the photo.", "Points are fractions between 0 and 1."
            )
    return [length(found, a, b) for a, b in zip(points, points[1:], strict=False)]


def length(found: Measurable, start: tuple[float, float], end: tuple[float, float]) -> Length:
    """Return the length between two points, fractions of the photo. Raises CannotMeasure."""
    places = found.to_inches([start, end])
    if np.isnan(places).any():
        raise CannotMeasure(
            "A point lies beyond the horizon of the card's plane.", "Take points in the plane."
        )
    reach = np.abs(places).max()
    if reach > FARTHEST_IN:
        raise CannotMeasure(
            f"A point would lie {reach / 12:.0f} ft from the card.",
            "Put the card nearer to what is measured.",
        )
    first, second = found.pixels([start, end])
    one = length_between(found.fit, first, second, CLICK_SD_OF_LONG_SIDE * float(found.size.max()))
    if one.relative > MOST_RELATIVE:
        raise CannotMeasure(
            f"The length cannot be told better than {one.relative:.0%} either way.",
            "Take the photo more squarely, nearer, or with the card nearer to what is measured.",
        )
    return Length(start, end, one.inches * found.scale, one.low * found.scale, one.high * found.scale)


def _refuse_problem(seen: CardSeen) -> None:
    problem = seen.problem
    if problem is not None and not (problem.kind in ("torn", "unreadable") and len(seen.markers) >= 4):
        said = problem.sentence
        raise CannotMeasure(f"{said[0].upper()}{said[1:]}.", problem.hint)
    if len(seen.markers) < FEWEST_MARKERS:
        raise CannotMeasure(
            f"Only {len(seen.markers)} of the card's squares are seen; measuring needs {FEWEST_MARKERS}.",
            "Show the whole card, nearer and sharp.",
        )


def _refuse_fit(fit: PlaneFit, seen: CardSeen) -> None:
    marker_px = float(np.median([marker.side_px for marker in seen.markers]))
    cell_px = float(np.median([marker.cell_px for marker in seen.markers]))
    if cell_px < SMALLEST_CELL_PX or fit.points < 24:
        raise CannotMeasure(
            "The card is too small or too blurred to measure by.", "Take the photo from nearer by."
        )
    if fit.oblique_deg > MOST_OBLIQUE_DEG:
        raise CannotMeasure(
            f"The card is seen too obliquely ({fit.oblique_deg:.0f} degrees from square).",
            f"Stand more squarely to it: less than {MOST_OBLIQUE_DEG:.0f} degrees.",
        )
    if abs(fit.bend_per_m) > MOST_BEND_PER_M or fit.side_sd_px > max(
        LEAST_SIDE_SD_PX, MOST_SIDE_SD * marker_px
    ):
        raise CannotMeasure(
            "The card is not flat: its squares do not fit one plane or one gentle bend.",
            "Tape the card flat, without folds, in the plane to be measured.",
        )


def _scale(fit: PlaneFit, printed: PrintedScale | None, ruler_in: float | None) -> float:
    nominal = fit.layout.ruler_in
    if ruler_in is not None:
        if not 0.5 < ruler_in / nominal < 2:
            raise WrongUsage(f"The card's ruler line of {nominal} in cannot measure {ruler_in:g} in.")
        return ruler_in / nominal
    if printed is not None and not printed.full_size:
        raise CannotMeasure(
            f"The card was printed at {printed.scale:.0%}, not at full size.",
            f"Print it at 100 %, or say what its {nominal} in ruler line measures with --ruler INCHES.",
        )
    return 1.0


def _remarks(fit: PlaneFit, printed: PrintedScale | None, ruler_in: float | None) -> tuple[str, ...]:
    said = ["points must lie in the plane that the card lies in"]
    if printed is None and ruler_in is None:
        said.append("the paper's edges were not seen: check the card's ruler line with a tape")
    if abs(fit.bend_per_m) > 0.3:
        said.append(f"the card is bent (radius about {1 / abs(fit.bend_per_m):.1f} m), which is allowed for")
    return tuple(said)
