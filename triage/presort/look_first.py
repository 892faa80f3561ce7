"""Look here first: per tag the photos in the machine's order, until few further ones are to be expected.

A rank may be right where the level is not: with few positives all probabilities stand below a half, and
nothing is `likely`, although the first photos of the order are the ones that show the tag. So the list goes
by the order. It ends where the sum of the probabilities below falls under `MOST_FURTHER`. What share of the
tag's photos stands above that line is counted on decks that the models scoring them had not seen. Photos of
one deck are alike, so its interval counts decks and not photos: Clopper-Pearson (Biometrika 26, 1934) on as
many trials as there are decks with the tag. Below `LEAST_POSITIVES` photos with the tag nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from triage.domain.plurals import count_of
from triage.library import queries
from triage.library.look_lines import LookLine, keep_lines
from triage.train.calibrate import apply
from triage.train.types import TagModel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.library import Library
    from triage.train.types import TooFew

    Floats = NDArray[np.float64]

MOST_FURTHER = 0.5
"""The list ends where fewer further photos with the tag than this are expected below it."""
LEAST_POSITIVES = 10
"""Photos with the tag below which no share is given."""
NOTHING = 1.5
"""Stands for a line that no probability reaches: an empty list."""
_TAIL = 0.025


def line_at(probabilities: Floats, most_further: float = MOST_FURTHER) -> tuple[float, int, float]:
    """Return (probability at the line, photos from there on, expected number below).

    Photos of one probability are never parted.
    """
    chances = np.sort(np.asarray(probabilities, float))[::-1]
    left = chances.sum() - np.cumsum(chances)
    if chances.sum() < most_further:
        return NOTHING, 0, float(chances.sum())
    place = int(np.argmax(left < most_further))
    line = float(chances[place])
    below = chances < line
    return line, int((~below).sum()), float(chances[below].sum())


def share_above(model: TagModel, line: float) -> tuple[float, float, float, str]:
    """Return the share of the tag's photos that stand above a line on left-out decks, its interval's ends.

    The fourth is a sentence where it cannot be said; the numbers are NaN then.
    """
    from scipy.stats import beta  # a second to import, and asking what waits needs none of it

    rows = np.array(list(model.held_out.values()), float).reshape(-1, 3)
    present = rows[rows[:, 1] > 0.5, 0]
    if len(present) < LEAST_POSITIVES:
        photos = count_of(len(present), "photo shows", "photos show")
        return (*(float("nan"),) * 3, f"only {photos} it, {LEAST_POSITIVES} are needed")
    share = float(np.mean(apply(model.calibration, present) >= line))
    decks = max(1, min(model.positive_decks, len(present)))
    found = share * decks
    low = 0.0 if found <= 0 else float(beta.ppf(_TAIL, found, decks - found + 1))
    high = 1.0 if found >= decks else float(beta.ppf(1 - _TAIL, found + 1, decks - found))
    return share, low, high, ""


def look_line(model: TagModel, probabilities: Floats) -> LookLine:
    """Return the line of one tag for photos of some probabilities (n,)."""
    line, listed, further = line_at(probabilities)
    share, low, high, why_not = share_above(model, line)
    if why_not:
        return LookLine(model.tag, line, listed, len(probabilities), further, why_not=why_not)
    return LookLine(model.tag, line, listed, len(probabilities), further, share, low, high)


def draw_lines(library: Library, models: Mapping[str, TagModel | TooFew]) -> dict[str, LookLine]:
    """Draw each tag's line over the photos that nobody has answered, keep the lines and return them."""
    model, words = queries.model_in_use(library) or "", queries.words(library)
    found = {}
    for tag, one in models.items():
        if isinstance(one, TagModel):
            said = queries.suggestions(library, tag=tag, model=model)
            open_ones = [row.probability for key, row in said.items() if key not in words]
            if open_ones:
                found[tag] = look_line(one, np.array(open_ones))
    keep_lines(library, model, found)
    return found
