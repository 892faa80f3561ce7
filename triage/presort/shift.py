"""Whether a batch is like the decks that the model was trained on.

A deck's distance is the mean distance of its mean photo vector to its three nearest training decks. Its
p-value is (1 + number of training decks at least as far)/(n + 1), each training deck measured against the
others; for an ordinary deck it is at most u with probability at most u (conformal p-values; Vovk, Gammerman,
Shafer, Algorithmic Learning in a Random World, 2005). The decks of a batch are combined by the method of
Simes (1986): the batch is unlike where min over i of p_(i) m / i is at most 5 %.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from triage.batching import lots
from triage.library import queries

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.library import Library

LEVEL = 0.05
NEAREST = 3
LEAST_DECKS = 19
"""With fewer training decks no p-value can be as small as the level."""
MOST_PHOTOS_A_DECK = 12
_LOT = 200


def distances(points: NDArray[np.float64], among: NDArray[np.float64], own: bool) -> NDArray[np.float64]:
    """Return (m,) mean distances of points (m, D) to their nearest rows of among (n, D).

    With `own`, points are the rows of `among` themselves and each is measured against the others.
    """
    squares = (points**2).sum(1)[:, None] + (among**2).sum(1)[None, :] - 2 * points @ among.T
    apart = np.sqrt(np.maximum(squares, 0))
    if own:
        np.fill_diagonal(apart, np.inf)
    nearest = min(NEAREST, len(among) - (1 if own else 0))
    return np.asarray(np.sort(apart, axis=1)[:, :nearest].mean(axis=1))


def deck_p_values(training: NDArray[np.float64], batch: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return (m,) p-values of a batch's decks (m, D) against training decks (n, D)."""
    ours = distances(training, training, own=True)
    theirs = distances(batch, training, own=False)
    return np.asarray((1 + (ours[None, :] >= theirs[:, None]).sum(axis=1)) / (len(training) + 1))


def simes(p_values: Sequence[float] | NDArray[np.float64]) -> float:
    """Return Simes' p-value of several (Biometrika 73, 1986, 751-754): min of p_(i) m / i."""
    ordered = np.sort(np.asarray(p_values, float))
    return float(np.min(ordered * len(ordered) / np.arange(1, len(ordered) + 1)))


def batch_p_value(library: Library, training_decks: set[str], batch: Sequence[str]) -> float | None:
    """Return how ordinary a batch's decks are, or null where it cannot be said.

    `batch` holds the photos' hashes; decks that the model was trained on are passed over, and with fewer
    than nineteen training decks no test is made.
    """
    from triage.features.keep import store_of

    wanted = set(batch)
    photos: dict[str, list[str]] = defaultdict(list)
    new = set()
    with library.read() as connection:
        for sha, deck in queries.placed_at(connection):
            if sha in wanted:
                new.add(deck)
            if len(photos[deck]) < MOST_PHOTOS_A_DECK:
                photos[deck].append(sha)
    new -= training_decks
    store = store_of(library)

    def means(decks: set[str]) -> Iterator[NDArray[np.float64]]:
        for deck in sorted(decks):
            vectors = [store.whole(sha) for sha in photos[deck]]
            kept = [one for one in vectors if one is not None]
            if kept:
                yield np.mean(kept, axis=0).astype(np.float64)

    if not new or len(training_decks) < LEAST_DECKS:
        return None
    ours = list(means(training_decks))
    if len(ours) < LEAST_DECKS:
        return None
    training = np.stack(ours)
    found = [deck_p_values(training, np.stack(lot)) for lot in lots(means(new), _LOT)]
    return simes(np.concatenate(found)) if found else None
