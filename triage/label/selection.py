"""Which photos to label next: those that teach most, or those like one photo. Works on arrays.

`learning` asks for the photo whose answer is expected to take away most of what a linear model does not know
about the others. On whole-photo vectors of unit length with Gaussian weights, an answer about photo i lowers
the variance at photo j by c_ij^2 / (c_ii + noise), c being what is left of the inner products after all
answers so far, whatever these were (C. K. I. Williams, C. E. Rasmussen, Gaussian Processes for Machine
Learning, 2006, eq. 2.26; as a design: K. Yu, J. Bi, V. Tresp, Active Learning via Transductive Experimental
Design, ICML 2006). So a lot is chosen as a whole: each photo counts as answered for the next. While there is
no model decks take turns and every photo counts alike; with one, what is learnt counts where the model
doubts, and a photo is worth asking by its danger.

Near-duplicates never spend two labels: of photos closer than `DUPLICATE`, or of one named group, at most
one is asked, and none where one is already labeled.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.errors import WrongUsage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Floats32 = NDArray[np.float32]
    Mask = NDArray[np.bool_]
    Places = NDArray[np.intp]

ORDERS = ("learning", "like")
DUPLICATE = 0.01
"""Cosine distance below which two photos count as one."""
NOISE = 0.1
"""Variance of an answer in addition to that of the weights: the ridge penalty on unit vectors."""
LEAST_WORTH = 0.02
"""What a photo counts at least, however sure the model is."""
MOST_CANDIDATES = 600
"""Photos that are weighed against each other; of larger pools those worth most and a draw by decks."""
MOST_ANSWERS = 600
"""Answered photos that what is left to learn is worked out from; more would not change the next lot."""


@dataclass(frozen=True, eq=False)
class Pool:
    """Photos that may be asked about one tag.

    Attributes
    ----------
    shas, decks : (n,) photo and deck.
    vectors : (n, D) whole-photo vectors.
    labeled : (n,) already answered for the tag.
    probabilities : (n,) what the model says, or None where there is no model yet.
    groups : (n,) name of a burst or of look-alikes, "" for none; None where unknown.
    """

    shas: Sequence[str]
    decks: Sequence[str]
    vectors: Floats32
    labeled: Mask
    probabilities: Floats | None = None
    groups: Sequence[str] | None = None


def next_to_label(
    pool: Pool, n: int, *, order: str = "learning", like: str | None = None, seed: int = 0
) -> list[str]:
    """At most n photos, the first to ask first.

    Parameters
    ----------
    order : `learning`, or `like` (nearest to one photo by cosine).
    like : the photo that `like` starts from; it is not asked itself.
    seed : settles ties, by the photos' hashes.

    Raises
    ------
    WrongUsage : an unknown order, or `like` without its photo.
    """
    if order not in ORDERS:
        raise WrongUsage(f"{order!r} is not a valid order.", f"Orders: {', '.join(ORDERS)}.")
    if not len(pool.shas):
        return []
    if order == "learning":
        return _learning(pool, n, seed)
    if like is None or like not in pool.shas:
        raise WrongUsage("The photo to compare with is not in this library.", "Name a photo of the library.")
    return _like(pool, n, list(pool.shas).index(like), seed)


def unit_rows(vectors: Floats32) -> Floats32:
    """Rows of unit length, (n, D) float32; a row of zeros stays."""
    rows = np.asarray(vectors, np.float32)
    return np.asarray(rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-12))


class _Free:
    """Which photos may still be asked: a photo that is asked or labeled takes its near-duplicates along."""

    def __init__(self, pool: Pool, unit: Floats32, keep: Places) -> None:
        """Of the photos at `keep`, places in the pool; the masks and places below are within these."""
        self.unit = unit[keep]
        groups = np.array(pool.groups if pool.groups is not None else [""] * len(pool.shas), object)
        self.groups = groups[keep]
        self.mask = ~np.asarray(pool.labeled, bool)[keep]
        answered = np.flatnonzero(pool.labeled)
        for start in range(0, len(answered), MOST_ANSWERS):
            lot = answered[start : start + MOST_ANSWERS]
            self._rest(unit[lot], groups[lot])

    def _rest(self, rows: Floats32, names: NDArray[np.object_]) -> None:
        self.mask &= (self.unit @ rows.T).max(axis=1) <= 1 - DUPLICATE
        named = set(names) - {""}
        if named:
            self.mask &= np.array([name not in named for name in self.groups], bool)

    def close(self, place: int) -> None:
        """Take a photo as asked."""
        self._rest(self.unit[[place]], self.groups[[place]])
        self.mask[place] = False


def _like(pool: Pool, n: int, start: int, seed: int) -> list[str]:
    unit = unit_rows(pool.vectors)
    free = _Free(pool, unit, np.arange(len(unit)))
    free.mask[start] = False
    found: list[str] = []
    for place in np.lexsort((_ties(pool, seed), -(unit @ unit[start]))):
        if len(found) == n:
            break
        if free.mask[place]:
            free.close(int(place))
            found.append(pool.shas[place])
    return found


def _ties(pool: Pool, seed: int) -> Floats:
    """(n,) a number in [0, 1) from each photo's hash, the same in every order of the photos."""
    tickets = [hashlib.sha256(f"{seed}:{sha}".encode()).digest()[:6] for sha in pool.shas]
    return np.array([int.from_bytes(ticket, "big") / 2**48 for ticket in tickets])


def _learning(pool: Pool, n: int, seed: int) -> list[str]:
    unit, ties = unit_rows(pool.vectors), _ties(pool, seed)
    names, deck = np.unique(np.asarray(pool.decks), return_inverse=True)
    turns = np.bincount(deck[np.asarray(pool.labeled, bool)], minlength=len(names))
    keep = _candidates(pool, deck, ties)
    keep = keep[np.argsort([pool.shas[place] for place in keep])]
    answered = np.flatnonzero(pool.labeled)
    answered = answered[np.argsort(ties[answered])][:MOST_ANSWERS]
    free = _Free(pool, unit, keep)
    unknown = left_to_learn(unit[keep], unit[answered])
    where, danger = _weights(pool, keep)
    found: list[str] = []
    while len(found) < n and free.mask.any():
        value = danger * gains(unknown, where)
        value = value / max(float(value[free.mask].max()), 1e-300) + 1e-6 * ties[keep]
        if pool.probabilities is None:
            value = value - 10 * turns[deck[keep]]
        place = int(np.argmax(np.where(free.mask, value, -np.inf)))
        unknown = after_asking(unknown, place)
        free.close(int(place))
        turns[deck[keep[place]]] += 1
        found.append(pool.shas[keep[place]])
    return found


def _candidates(pool: Pool, deck: Places, ties: Floats) -> Places:
    """The unanswered photos; of very many those of most danger and doubt, and a draw with decks in turn."""
    open_ = np.flatnonzero(~np.asarray(pool.labeled, bool))
    if len(open_) <= MOST_CANDIDATES:
        return open_
    best: Places = np.zeros(0, np.intp)
    if pool.probabilities is not None:
        chance = pool.probabilities[open_]
        worth = np.maximum(chance, 1 - np.abs(2 * chance - 1))
        best = open_[np.lexsort((ties[open_], -worth))][: MOST_CANDIDATES // 2]
    rest = np.setdiff1d(open_, best)
    rest = rest[np.lexsort((ties[rest], deck[rest]))]
    first = np.searchsorted(deck[rest], deck[rest], side="left")
    turn = np.arange(len(rest)) - first
    return np.concatenate([best, rest[np.lexsort((ties[rest], turn))][: MOST_CANDIDATES - len(best)]])


def _weights(pool: Pool, keep: Places) -> tuple[Floats, Floats]:
    """(m,) how much it counts what is learnt about each photo, and (m,) what asking about it is worth."""
    if pool.probabilities is None:
        return np.ones(len(keep)), np.ones(len(keep))
    chance = np.asarray(pool.probabilities, float)[keep]
    return 4 * chance * (1 - chance) + LEAST_WORTH, chance + LEAST_WORTH


def left_to_learn(rows: Floats32, answered: Floats32) -> Floats:
    """(m, m) covariance of the scores of m photos after k answers.

    Parameters
    ----------
    rows : (m, D) of unit length.
    answered : (k, D) of unit length.
    """
    prior = np.asarray(rows @ rows.T, np.float64)
    if not len(answered):
        return prior
    system = np.asarray(answered @ answered.T, np.float64) + NOISE * np.eye(len(answered))
    across = np.asarray(answered @ rows.T, np.float64)
    return np.asarray(prior - across.T @ np.linalg.solve(system, across))


def gains(unknown: Floats, where: Floats) -> Floats:
    """(m,) by how much an answer about each photo lowers the variances, weighted by `where` (m,)."""
    return np.asarray(
        np.einsum("ij,ij,j->i", unknown, unknown, where) / (np.maximum(np.diag(unknown), 0) + NOISE)
    )


def after_asking(unknown: Floats, place: int) -> Floats:
    """(m, m) covariance after one more answer, about the photo at a place."""
    column = unknown[:, place]
    return np.asarray(unknown - np.outer(column, column) / (column[place] + NOISE))
