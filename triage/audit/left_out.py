"""What other decks say about a label: a quick linear model per fold of decks, from running sums alone.

The model is linear discriminant analysis with a shrunk covariance. It needs only sums over the rows
(count, mean, products), so that leaving a fold of decks out is a subtraction, and thirty tags on a hundred
thousand photos take seconds. Sources: R. A. Fisher, Annals of Eugenics 7 (1936) 179-188; shrinkage OAS:
Y. Chen, A. Wiesel, Y. C. Eldar, A. O. Hero, IEEE Transactions on Signal Processing 58 (2010) 5016-5029,
equation 23; scores to probabilities: J. Platt (1999), with his targets.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]

FOLDS = 5
COMPONENTS = 128
"""Principal directions that are kept of the vectors; measured: nearly free against all of them."""
_SAMPLE = 1000
_BLOCK = 2048


def deck_folds(decks: Sequence[str], folds: int = FOLDS) -> NDArray[np.intp]:
    """Return a fold for each deck (shape (decks,)), even in number, fixed by the decks' names alone."""
    keys = [hashlib.sha256(deck.encode()).hexdigest() for deck in decks]
    fold = np.empty(len(decks), dtype=np.intp)
    fold[np.argsort(np.array(keys))] = np.arange(len(decks)) % folds
    return fold


def principal(rows: Callable[[NDArray[np.intp]], Floats32], count: int, seed: int = 0) -> Floats32:
    """Return `count` rows in their principal directions, shape (count, at most COMPONENTS), not whitened.

    `rows(indices)` gives the vectors of some rows, shape (n, D); it is asked in blocks, so that all vectors
    are never in memory at once. The directions come from a sample where there are many rows.
    """
    generator = np.random.default_rng(seed)
    picked = np.sort(generator.choice(count, min(count, _SAMPLE), replace=False))
    sample = rows(picked)
    center = sample.mean(axis=0, dtype=np.float64).astype(np.float32)
    sample = sample - center
    values, vectors = np.linalg.eigh(np.asarray(sample @ sample.T, dtype=np.float64))
    kept = np.flatnonzero(values > values[-1] * 1e-7)[::-1][:COMPONENTS]
    if not len(kept):
        return np.zeros((count, 1), dtype=np.float32)
    axes = (sample.T @ (vectors[:, kept] / np.sqrt(values[kept])).astype(np.float32)).astype(np.float32)
    out = np.empty((count, len(kept)), dtype=np.float32)
    for start in range(0, count, _BLOCK):
        index = np.arange(start, min(start + _BLOCK, count))
        out[index] = (rows(index) - center) @ axes
    return out


Sums = tuple[Floats, Floats, Floats]
"""Count (folds,), sum (folds, d) and products (folds, d, d) of some rows, fold by fold."""


class Board:
    """Rows in the order of their folds, with the sums over all of them, shared by every tag."""

    def __init__(self, rows: Floats32, fold: NDArray[np.intp]) -> None:
        self.order = np.argsort(fold, kind="stable")
        self.rows = np.ascontiguousarray(rows[self.order])
        self.folds = int(fold.max()) + 1 if len(fold) else 0
        self.edges = np.searchsorted(fold[self.order], np.arange(self.folds + 1))
        self._all = self._sum(np.ones(len(rows), dtype=np.bool_))

    def _sum(self, which: NDArray[np.bool_]) -> Sums:
        size = self.rows.shape[1]
        count, total = np.zeros(self.folds), np.zeros((self.folds, size))
        products = np.zeros((self.folds, size, size))
        for one in range(self.folds):
            part = self.rows[self.edges[one] : self.edges[one + 1]]
            mask = which[self.edges[one] : self.edges[one + 1]]
            part = part if mask.all() else part[mask]
            count[one], total[one] = len(part), part.sum(axis=0, dtype=np.float64)
            products[one] = part.T @ part
        return count, total, products

    def sums(self, which: NDArray[np.bool_]) -> Sums:
        """Return the sums over the rows of a mask (in fold order); the smaller side is added up."""
        if 2 * int(which.sum()) <= len(which):
            return self._sum(which)
        count, total, products = self._sum(~which)
        return self._all[0] - count, self._all[1] - total, self._all[2] - products

    def scores(self, present: NDArray[np.bool_], answered: NDArray[np.bool_]) -> Floats:
        """Return each answered row's score (log odds scale) by a model that never saw its fold of decks.

        Masks and scores (shape (n,)) are in the rows' first order; NaN for unanswered rows and for folds
        outside of which one of the two classes is missing.
        """
        here, yes_here = answered[self.order], (present & answered)[self.order]
        every, yes = self.sums(here), self._sum(yes_here)
        no = (every[0] - yes[0], every[1] - yes[1], every[2] - yes[2])
        ordered = np.full(len(here), np.nan)
        for one in range(self.folds):
            inside = slice(self.edges[one], self.edges[one + 1])
            model = _discriminant(_without(yes, one), _without(no, one))
            if model is not None:
                ordered[inside] = self.rows[inside] @ model[0].astype(np.float32) + model[1]
        ordered[~here] = np.nan
        scores = np.empty(len(here))
        scores[self.order] = ordered
        return scores


def _without(sums: Sums, fold: int) -> tuple[float, Floats, Floats]:
    """Count, mean and scatter of the rows outside a fold."""
    count = float(sums[0].sum() - sums[0][fold])
    mean = (sums[1].sum(axis=0) - sums[1][fold]) / max(count, 1.0)
    scatter = sums[2].sum(axis=0) - sums[2][fold] - count * np.outer(mean, mean)
    return count, mean, scatter


def _discriminant(
    yes: tuple[float, Floats, Floats], no: tuple[float, Floats, Floats]
) -> tuple[Floats, float] | None:
    """Weights and bias of the linear discriminant of two classes, or none where one is missing."""
    if yes[0] < 1 or no[0] < 1:
        return None
    covariance = _shrunk(yes[2] + no[2], yes[0] + no[0])
    weights = np.linalg.solve(covariance, yes[1] - no[1]).astype(np.float64)
    return weights, float(-0.5 * weights @ (yes[1] + no[1]) + np.log(yes[0] / no[0]))


def _shrunk(scatter: Floats, count: float) -> Floats:
    """Covariance of pooled scatter, shrunk toward a multiple of the identity (OAS)."""
    size = len(scatter)
    covariance = scatter / max(count, 1.0)
    level = np.trace(covariance) / size
    squares = float((covariance**2).sum())
    gap = (count + 1.0 - 2.0 / size) * (squares - size * level**2)
    over = (1.0 - 2.0 / size) * squares + size**2 * level**2
    rho = 1.0 if gap <= 0 else min(1.0, over / gap)
    shrunk = (1.0 - rho) * covariance
    shrunk[np.diag_indices(size)] += rho * level + 1e-9 * max(level, 1e-12)
    return np.asarray(shrunk)


def to_probability(scores: Floats, present: NDArray[np.bool_]) -> Floats:
    """Return calibrated probabilities of left-out scores (Platt's two numbers, fitted by Newton's method).

    Scores that are NaN stay NaN.
    """
    known = ~np.isnan(scores)
    x, y = scores[known], present[known].astype(float)
    n_yes, n_no = float(y.sum()), float(len(y) - y.sum())
    target = np.where(y > 0, (n_yes + 1) / (n_yes + 2), 1 / (n_no + 2))
    scale = float(np.std(x)) or 1.0
    design = np.stack([x / scale, np.ones_like(x)], axis=1)
    numbers = np.array([1.0, np.log((n_yes + 1) / (n_no + 1))])
    for _ in range(30):
        chance = _sigmoid(design @ numbers)
        slope = design.T @ (chance - target)
        curve = (design * (chance * (1 - chance) + 1e-9)[:, None]).T @ design + 1e-6 * np.eye(2)
        step = np.linalg.solve(curve, slope)
        numbers -= step * min(1.0, 5.0 / max(float(np.abs(step).max()), 1e-12))
        if float(np.abs(step).max()) < 1e-8:
            break
    out = np.full(len(scores), np.nan)
    out[known] = _sigmoid(design @ numbers)
    return out


def _sigmoid(x: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40, 40))))


def nearest(
    rows: Floats32, of: NDArray[np.intp], among: NDArray[np.intp], group: NDArray[Any], how_many: int = 3
) -> list[list[int]]:
    """Return for each row in `of` the nearest rows in `among` from other groups (decks), nearest first."""
    others = rows[among]
    length = (others**2).sum(axis=1)
    found: list[list[int]] = []
    for start in range(0, len(of), 256):
        part = of[start : start + 256]
        apart = length[None, :] - 2.0 * (rows[part] @ others.T)
        apart[group[part][:, None] == group[among][None, :]] = np.inf
        count = min(how_many, len(among))
        closest = np.argpartition(apart, count - 1, axis=1)[:, :count]
        for row, places in zip(apart, closest, strict=True):
            ordered = places[np.argsort(row[places], kind="stable")]
            found.append([int(among[place]) for place in ordered if np.isfinite(row[place])])
    return found
