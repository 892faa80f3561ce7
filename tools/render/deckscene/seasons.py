"""Two seasons of further invented decks for the season bench: other seeds than the library, faults by chance.

A season is what a firm photographs in a year: most decks have no serious fault, and which have one hangs on
nothing else that a picture shows. No deck of one season is in the other or in the library.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from . import design
from .decks import drawn
from .params import DeckParams
from .shots import Shot, timed, usual_round

SEEDS = (91_000, 92_000)
"""One for each season; the library's is 4,800."""
FAULT_CHANCE = 0.25
"""Of each of the five core faults at a deck, each by itself: about a quarter of the decks has none."""
SIZE = (512, 384)
BEYOND = 100
"""Numbers from which on no deck is one of the library's special ones."""


def code_of(season: int, i: int) -> str:
    """Code of deck number i (from 0) of a season (from 0): `s1-01`."""
    return f"s{season + 1}-{i + 1:02d}"


def levels(season: int, i: int) -> dict[str, str | bool]:
    """The faults, by chance, and the wood, the light and the phone of one deck."""
    rng = np.random.default_rng([SEEDS[season], i, 7])
    found: dict[str, str | bool] = {name: bool(rng.random() < FAULT_CHANCE) for name in design.FAULTS}
    return found | {name: str(rng.choice(values)) for name, values in design.FACTORS.items()}


def deck(season: int, i: int) -> DeckParams:
    """The parameters of one deck."""
    rng = np.random.default_rng([SEEDS[season], i])
    return drawn(code_of(season, i), SEEDS[season] + i, levels(season, i), rng)


def shots(season: int, i: int) -> list[Shot]:
    """The photos of one deck: the usual round."""
    rng = np.random.default_rng([SEEDS[season], i, 1])
    what = deck(season, i)
    plan = usual_round(BEYOND + i, what, levels(season, i), rng, seed=SEEDS[season])
    return timed(plan, rng)


def jobs(decks: int) -> Iterator[tuple[int, DeckParams, list[Shot]]]:
    """So many decks for each season, the seasons in turn, so that a run that is stopped has both."""
    for i in range(decks):
        for season in range(len(SEEDS)):
            yield BEYOND + i, deck(season, i), shots(season, i)
