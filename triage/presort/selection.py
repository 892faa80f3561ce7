"""Which photos to label next: those that teach most, are doubtful, dangerous, or like one photo.

Works on arrays. Distances are between whole-photo vectors of unit length, as cosine distance in [0, 2].
Near-duplicates never spend two labels: of photos closer than `DUPLICATE`, or of one named group, at most
one is asked, and none where one is already labelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.errors import WrongUsage
from triage.train.table import draw

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Mask = NDArray[np.bool_]

ORDERS = ("learning", "doubtful", "dangerous", "like")
DUPLICATE = 0.01
"""Cosine distance below which two photos count as one."""
DANGER = 0.5
"""Share of danger (the probability) in what a label is worth; the rest is doubt."""


@dataclass(frozen=True, eq=False)
class Pool:
    """Photos that may be asked about one tag.

    Attributes
    ----------
    shas, decks : (n,) photo and deck.
    vectors : (n, D) whole-photo vectors.
    labelled : (n,) already answered for the tag.
    probabilities : (n,) what the model says, or None where there is no model yet.
    groups : (n,) name of a burst or of look-alikes, "" for none; None where unknown.
    """

    shas: Sequence[str]
    decks: Sequence[str]
    vectors: NDArray[np.float32]
    labelled: Mask
    probabilities: Floats | None = None
    groups: Sequence[str] | None = None


def next_to_label(
    pool: Pool, n: int, *, order: str = "learning", like: str | None = None, seed: int = 0
) -> list[str]:
    """At most n photos, the first to ask first.

    Parameters
    ----------
    order : `learning` (by diversity per deck while there is no model, then by doubt, danger and diversity),
        `doubtful` (nearest to even odds), `dangerous` (most probable) or `like` (nearest to one photo).
    like : the photo that `like` starts from; it is not asked itself.
    seed : settles ties, by the photos' hashes.

    Raises
    ------
    WrongUsage : an unknown order, an order that needs suggestions where there are none, or `like` without its
        photo.
    """
    if order not in ORDERS:
        raise WrongUsage(f"{order!r} is no order.", f"Orders: {', '.join(ORDERS)}.")
    unit = unit_rows(pool.vectors)
    if order == "like":
        if like is None or like not in pool.shas:
            raise WrongUsage("There is no such photo to be like.", "Name a photo of the library.")
        start = list(pool.shas).index(like)
        worth = unit @ unit[start]
        return _take(pool, unit, worth, n, seed, besides=start)
    if order == "learning":
        return _learning(pool, unit, n, seed)
    if pool.probabilities is None:
        raise WrongUsage(f"The order {order!r} needs suggestions.", "Run: deck-triage presort")
    chance = pool.probabilities
    worth = chance if order == "dangerous" else -np.abs(chance - 0.5)
    return _take(pool, unit, worth, n, seed)


def unit_rows(vectors: NDArray[np.float32]) -> Floats:
    """Rows of unit length, (n, D); a row of zeros stays."""
    rows = np.asarray(vectors, np.float64)
    return np.asarray(rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-12))


def k_centre(unit: Floats, n: int, chosen: Sequence[int] = ()) -> list[int]:
    """Farthest-first: n rows, each the farthest from all before it (and from `chosen`).

    The largest distance of any row to its nearest chosen one is at most twice the least possible for the
    Euclidean distance (Gonzalez, Theoretical Computer Science 38, 1985); the first row is the one nearest
    to the mean.
    """
    found: list[int] = []
    away = np.full(len(unit), np.inf)
    for place in chosen:
        away = np.minimum(away, _apart(unit, place))
    while len(found) < min(n, len(unit)):
        if np.isinf(away).all():
            place = int(np.argmin(((unit - unit.mean(axis=0)) ** 2).sum(axis=1)))
        else:
            place = int(np.argmax(away))
            if away[place] <= 0:
                break
        found.append(place)
        away = np.minimum(away, _apart(unit, place))
    return found


def _apart(unit: Floats, place: int) -> Floats:
    """Cosine distance of all rows to one; half of the squared Euclidean distance, so of the same order."""
    return np.asarray(np.maximum(0, 1 - unit @ unit[place]))


class _Asked:
    """What was asked or labelled so far: how far every photo is from it, and which photos rest."""

    def __init__(self, pool: Pool, unit: Floats) -> None:
        self.pool, self.unit = pool, unit
        self.away = np.full(len(pool.shas), 2.0)
        self.free = ~np.asarray(pool.labelled, bool)
        for place in np.flatnonzero(pool.labelled):
            self.close(int(place))

    def close(self, place: int) -> None:
        """Take a photo as asked: it and its near-duplicates rest."""
        self.free[place] = False
        self.away = np.minimum(self.away, _apart(self.unit, place))
        self.free &= self.away >= DUPLICATE
        groups = self.pool.groups
        if groups is not None and groups[place]:
            self.free &= np.array([name != groups[place] for name in groups])


def _take(
    pool: Pool, unit: Floats, worth: Floats, n: int, seed: int, besides: int | None = None
) -> list[str]:
    """The free photos by worth, near-duplicates of earlier ones left out."""
    asked = _Asked(pool, unit)
    if besides is not None:
        asked.free[besides] = False
    ties = np.array([draw(seed, sha) for sha in pool.shas], np.uint64)
    found: list[str] = []
    for place in np.lexsort((ties, -worth)):
        if len(found) == n:
            break
        if asked.free[place]:
            asked.close(int(place))
            found.append(pool.shas[place])
    return found


def _learning(pool: Pool, unit: Floats, n: int, seed: int) -> list[str]:
    """The photos that are worth most one after the other: far from all asked before, then doubtful or likely.

    While there is no model decks take turns, the least labelled first; afterwards a deck that has been asked
    much only counts for less.
    """
    asked = _Asked(pool, unit)
    decks = np.array(pool.decks)
    names, place_of = np.unique(decks, return_inverse=True)
    turns = np.bincount(place_of, weights=np.asarray(pool.labelled, float), minlength=len(names))
    ties = np.array([draw(seed, sha) % 1000 for sha in pool.shas]) / 1e9
    worth = np.ones(len(decks)) if pool.probabilities is None else _worth(pool.probabilities)
    found: list[str] = []
    while len(found) < n and asked.free.any():
        value = worth * np.sqrt(asked.away) + ties
        if pool.probabilities is None:
            value = value - 10 * turns[place_of]
        else:
            value = value / np.sqrt(1 + turns[place_of])
        place = int(np.argmax(np.where(asked.free, value, -np.inf)))
        asked.close(place)
        turns[place_of[place]] += 1
        found.append(pool.shas[place])
    return found


def _worth(chance: Floats) -> Floats:
    doubt = 1 - np.abs(2 * chance - 1)
    return np.asarray((1 - DANGER) * doubt + DANGER * chance + 0.02)
