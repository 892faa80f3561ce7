"""Lengths measured in simulated photos of a card, with what was true."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tests.simulated import slate_views as sv
from triage.errors import TriageError
from triage.slate import measure
from triage.slate.plane import frame_of

IN = 25.4


@dataclass
class ViewResult:
    """What one view gave: true, measured, low, high per length; what was refused and why."""

    rows: list[tuple[float, float, float, float]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    lengths_refused: int = 0
    distance_mm: float = 0.0
    oblique_deg: float = 0.0
    bent: bool = False


def measure_view(seed: int, paper: str, wood: np.ndarray, whole: bool = False) -> ViewResult:
    """Make one view from its seed and measure three lengths in it as a person would.

    Unless `whole`, only the part of the photo around the card is drawn.
    """
    rng = np.random.default_rng(seed)
    view = sv.draw_view(rng, paper)
    pairs = sv.draw_lengths(rng, view)
    told = ViewResult(
        distance_mm=float(np.linalg.norm(view.camera.place_mm)), bent=view.curvature_per_mm != 0
    )
    card = sv.card_texture(view.layout, view.check, view.text)
    box = (0, 0, *sv.SENSOR) if whole else sv.card_box(view)
    photo = sv.render_whole(view, card, wood) if whole else sv.render(view, box, card, wood)
    frame = replace(frame_of(*sv.SENSOR, view.exif_focal_mm), corner=box[:2])
    try:
        found = measure.measurable_in(photo, frame)
    except measure.CannotMeasure as error:
        told.refused.append(str(error))
        return told
    told.oblique_deg = found.fit.oblique_deg
    for start, end in pairs:
        pixels = view.camera.project(np.array([[*start, 0.0], [*end, 0.0]]))
        pixels = pixels + rng.normal(0, sv.SENSOR[0] * measure.CLICK_SD_OF_LONG_SIDE, (2, 2))
        points = [(float(x), float(y)) for x, y in (pixels + 0.5) / np.array(sv.SENSOR)]
        try:
            one = measure.length(found, *points)
        except TriageError:
            told.lengths_refused += 1
            continue
        true = float(np.linalg.norm(end - start)) / IN
        told.rows.append((true, one.inches, one.low, one.high))
    return told


def summary(all_told: list[ViewResult]) -> dict[str, Any]:
    """Median and 95th percentile of the error, share of intervals that hold the truth, what was refused."""
    rows = np.array([row for told in all_told for row in told.rows]).reshape(-1, 4)
    error = np.abs(rows[:, 1] / rows[:, 0] - 1)
    inside = (rows[:, 2] <= rows[:, 0]) & (rows[:, 0] <= rows[:, 3])
    reasons = Counter(_short(reason) for told in all_told for reason in told.refused)
    return {
        "views": len(all_told),
        "views_refused": sum(reasons.values()),
        "refused_because": dict(reasons.most_common()),
        "lengths": len(rows),
        "lengths_refused": sum(told.lengths_refused for told in all_told),
        "median_error": float(np.median(error)),
        "p95_error": float(np.percentile(error, 95)),
        "largest_error": float(error.max()),
        "coverage": float(inside.mean()),
        "coverage_95": _of_views(all_told),
        "median_half_width": float(np.median((rows[:, 3] - rows[:, 2]) / 2 / rows[:, 1])),
    }


def _of_views(all_told: list[ViewResult], draws: int = 2000) -> list[float]:
    """95 % interval of the coverage by drawing views again: the lengths of a view share its error."""
    held = np.array(
        [
            (sum(low <= true <= high for true, _, low, high in told.rows), len(told.rows))
            for told in all_told
            if told.rows
        ]
    ).reshape(-1, 2)
    if not len(held):
        return [0.0, 1.0]
    drawn = np.random.default_rng(0).integers(0, len(held), (draws, len(held)))
    shares = held[drawn].sum(axis=1)
    low, high = np.percentile(shares[:, 0] / shares[:, 1], (2.5, 97.5))
    return [round(float(low), 4), round(float(high), 4)]


def _short(reason: str) -> str:
    return reason.split(":")[0].split("(")[0].strip(" .0123456789")
