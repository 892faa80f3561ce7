"""Puts the photos that may show a place in order, from what is known of each. Knows no library."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.matching.points import Agreement, Points, agreement
from triage.matching.words import ANOTHER, SAME, told

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.features.vectors import PhotoVectors

MOST_CHECKED = 24
"""So many candidates, the best by everything else, are checked point by point."""
LOOK, CELLS, WALK, WORDS, POINTS = 0.4, 1.0, 0.4, 3.0, 2.0
"""Weights: looks and cells count in standard deviations over the candidates, the walk and the words from -1
to 1, points by the logarithm of how many agree beyond chance. Chosen on rendered decks."""


@dataclass(frozen=True)
class Sight:
    """What is known of one photo.

    Attributes
    ----------
    sha : the photo.
    vectors : what the frozen network says, or null.
    walk : where in its visit it was taken, 0 first to 1 last; null where unknown.
    places : the places that its labels name.
    """

    sha: str
    vectors: PhotoVectors | None = None
    walk: float | None = None
    places: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Ranked:
    """A candidate with what speaks for it; `score` orders candidates and is no probability."""

    sha: str
    score: float
    look: float | None
    walk: float | None
    words: int
    points: Agreement = field(default_factory=Agreement)


def rank_places(
    before: Sight,
    candidates: Sequence[Sight],
    points_of: Callable[[str], Points],
    *,
    without: Iterable[str] = (),
    check: Callable[[], None] = lambda: None,
) -> list[Ranked]:
    """Return the candidates, likeliest to show the place of `before` first.

    `points_of` gives a photo's local features by hash; it is asked for the best MOST_CHECKED only. `without`
    leaves kinds of evidence out: 'look', 'cells', 'walk', 'words', 'points'. `check` is called before each
    comparison of points and may raise to stop.
    """
    if not candidates:
        return []
    left_out = frozenset(without)
    looks = [_look(before, one) for one in candidates]
    kinds = {
        "look": LOOK * _standard(looks),
        "cells": CELLS * _standard([_cells(before, one) for one in candidates]),
        "walk": WALK * np.array([_walk(before, one) for one in candidates]),
        "words": WORDS * np.array([told(before.places, one.places) for one in candidates]),
    }
    score = sum((part for kind, part in kinds.items() if kind not in left_out), np.zeros(len(candidates)))
    order = [int(index) for index in np.argsort(-score, kind="stable")]
    agreed: dict[int, Agreement] = {}
    if "points" not in left_out:
        mine = points_of(before.sha)
        for index in order[:MOST_CHECKED]:
            check()
            agreed[index] = agreement(mine, points_of(candidates[index].sha))
            score[index] += POINTS * np.log1p(agreed[index].beyond_chance)
    ranked = [
        Ranked(
            sha=one.sha,
            score=round(float(score[index]), 4),
            look=looks[index],
            walk=None if None in (before.walk, one.walk) else _apart(before, one),
            words=told(before.places, one.places),
            points=agreed.get(index, Agreement()),
        )
        for index, one in enumerate(candidates)
    ]
    return sorted(ranked, key=lambda one: (-one.score, one.sha))


def _standard(values: Sequence[float | None]) -> NDArray[Any]:
    """Return values in standard deviations from their mean; unknown ones as 0."""
    known = np.array([value for value in values if value is not None])
    if len(known) < 2 or known.std() < 1e-6:
        return np.zeros(len(values))
    filled = np.array([known.mean() if value is None else value for value in values])
    return np.asarray((filled - known.mean()) / known.std())


def _look(one: Sight, other: Sight) -> float | None:
    """Return the cosine between two whole photos, or null where either has no vectors."""
    if one.vectors is None or other.vectors is None:
        return None
    a, b = one.vectors.whole, other.vectors.whole
    return float(a @ b / max(float(np.linalg.norm(a) * np.linalg.norm(b)), 1e-9))


def _cells(one: Sight, other: Sight) -> float | None:
    """Return how well each photo's cells find their like in the other: the mean of the best, both ways."""
    if one.vectors is None or other.vectors is None:
        return None
    likeness = _unit(one.vectors.cells_float()) @ _unit(other.vectors.cells_float()).T
    return float((likeness.max(axis=0).mean() + likeness.max(axis=1).mean()) / 2)


def _unit(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    centered = rows - rows.mean(axis=0)
    result: NDArray[np.float32] = centered / np.maximum(np.linalg.norm(centered, axis=1, keepdims=True), 1e-9)
    return result


def _walk(one: Sight, other: Sight) -> float:
    return 0.0 if one.walk is None or other.walk is None else 1 - 2 * _apart(one, other)


def _apart(one: Sight, other: Sight) -> float:
    return abs((one.walk or 0.0) - (other.walk or 0.0))


def reasons(one: Ranked, of: int, place: int) -> str:
    """Return in words what speaks for a candidate that is number `place` by its looks `of` so many."""
    found = []
    if one.points.beyond_chance:
        shown = max(one.points.in_plane, one.points.in_scene)
        found.append(f"{shown} points lie where they would if it is the same place")
    if one.words == SAME:
        found.append("its labels name the same place")
    elif one.words == ANOTHER:
        found.append("but its labels name another place")
    if one.look is not None:
        found.append("it looks most alike" if place == 1 else f"number {place} of {of} by its looks")
    if one.walk is not None and one.walk <= 0.1:
        found.append("taken at the same point of the walk")
    return "; ".join(found) or "nothing speaks for it but that it is a later photo of this deck"
