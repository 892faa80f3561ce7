"""What a model says about a photo: raw score, probability, the largest leave-one-out score, and where."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from triage.errors import BadInput
from triage.train.blend import join
from triage.train.calibrate import apply
from triage.train.cells import HIGHEST, cell_scores, linear_maps
from triage.train.types import LIKELY_FROM, Box, Score, TagModel

if TYPE_CHECKING:
    from triage.features.vectors import PhotoVectors
    from triage.train.types import Floats, Floats32, Linear

MOST_BOXES = 3


def score(model: TagModel, vectors: PhotoVectors, rows: Floats32 | None = None) -> Score:
    """Score one photo.

    rows : the photo's cells as numbers, (n_cells, C), where they are at hand already.

    The leave-one-out models are asked only where they count: under a promise that holds, below `likely`.

    Raises
    ------
    BadInput : the vectors were made by another recipe than the model's.
    """
    if vectors.recipe_sha != model.recipe_sha:
        raise BadInput(
            f"The model of {model.tag} reads vectors of recipe {model.recipe_sha[:12]}, "
            f"these are of {vectors.recipe_sha[:12]}.",
            "Train again, then presort.",
        )
    rows = vectors.cells_float() if rows is None else rows
    raw = float(blended(model.whole, model.cells, np.array([model.blend]), vectors, rows)[0])
    chance = float(apply(model.calibration, np.array([raw]))[0])
    left_out = None
    if model.promise.holds and chance < LIKELY_FROM:
        left_out = leave_one_out_score(model, vectors, rows)
    return Score(raw, chance, where(model, vectors, rows), left_out)


def leave_one_out_score(model: TagModel, vectors: PhotoVectors, rows: Floats32 | None = None) -> float | None:
    """The largest score of the models that each left one deck out; None where there are none."""
    if model.leave_one_out is None:
        return None
    left_out = model.leave_one_out
    return float(np.max(blended(left_out.whole, left_out.cells, left_out.blend, vectors, rows)))


def blended(
    whole: Linear, cells: Linear | None, blend: Floats, vectors: PhotoVectors, rows: Floats32 | None = None
) -> Floats:
    """Return (m,) blended scores of one photo by m models."""
    on_whole = whole.weights @ vectors.whole + whole.bias
    on_cells = np.full(len(on_whole), np.nan)
    if cells is not None:
        on_cells = cell_scores(vectors, cells.weights, cells.bias, rows)
    return np.array([float(join(tuple(b), w, c)) for b, w, c in zip(blend, on_whole, on_cells, strict=True)])


def where(model: TagModel, vectors: PhotoVectors, cells: Floats32 | None = None) -> tuple[Box, ...]:
    """At most three boxes over the six highest cells, touching cells joined, the highest first."""
    if model.cells is None:
        return ()
    cells = vectors.cells_float() if cells is None else cells
    if len(cells) == 0:
        return ()
    scores = linear_maps(cells, vectors.grid, model.cells.weights[:1])[0]
    rows, cols = vectors.grid
    best = np.argsort(-scores, kind="stable")[:HIGHEST]
    groups: list[list[int]] = []
    for cell in map(int, best):
        touching = [g for g in groups if any(_touch(cell, other, cols) for other in g)]
        groups = [g for g in groups if g not in touching]
        groups.append([cell, *(c for g in touching for c in g)])
    groups.sort(key=lambda g: -max(float(scores[c]) for c in g))
    return tuple(_around(g, rows, cols) for g in groups[:MOST_BOXES])


def _touch(a: int, b: int, cols: int) -> bool:
    return abs(a // cols - b // cols) <= 1 and abs(a % cols - b % cols) <= 1


def _around(group: list[int], rows: int, cols: int) -> Box:
    ys, xs = [c // cols for c in group], [c % cols for c in group]
    return (
        min(xs) / cols,
        min(ys) / rows,
        (max(xs) - min(xs) + 1) / cols,
        (max(ys) - min(ys) + 1) / rows,
    )
