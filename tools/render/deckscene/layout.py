"""Where everything is: positions that follow from a deck's parameters. Metres; y = 0 is inside the wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .params import DeckParams
from .units import FT, IN, dressed_m

SHEATHING_FACE_M = 0.012
SIDING_FACE_M = 0.027
BOARD_THICK_M = 1.0 * IN
BOARD_WIDE_M = 5.5 * IN

#: A deck this high hangs on an upper floor: the wall below it is a storey, not a foundation.
UPPER_FLOOR_FROM_FT = 7.0


@dataclass(frozen=True)
class Layout:
    """Positions in metres."""

    width: float
    depth: float
    deck_top: float
    joist_top: float
    joist_bottom: float
    joist_thick: float
    joist_x: np.ndarray
    ledger_back: float
    ledger_face: float
    ledger_bottom: float
    beam_y: float
    beam_top: float
    beam_bottom: float
    post_width: float
    post_x: np.ndarray
    foundation_top: float
    cantilever: float

    @property
    def joist_high(self) -> float:
        """Depth of a joist."""
        return self.joist_top - self.joist_bottom


def layout(deck: DeckParams) -> Layout:
    """Work out the positions of a deck that has been checked."""
    width, depth, top = deck.width_ft * FT, deck.depth_ft * FT, deck.height_ft * FT
    thick, high = dressed_m(deck.joist_size)
    joist_top = top - BOARD_THICK_M
    back = SIDING_FACE_M + 0.001 if deck.ledger_on == "siding" else SHEATHING_FACE_M
    ledger_bottom = joist_top - dressed_m(deck.ledger_size)[1]
    post_width = dressed_m(deck.post_size)[0]
    inset = 0.24
    return Layout(
        width=width,
        depth=depth,
        deck_top=top,
        joist_top=joist_top,
        joist_bottom=joist_top - high,
        joist_thick=thick,
        joist_x=np.linspace(thick / 2, width - thick / 2, deck.joist_count()),
        ledger_back=back,
        ledger_face=back + 1.5 * IN,
        ledger_bottom=ledger_bottom,
        beam_y=depth - deck.joist_overhang_ft * FT,
        beam_top=joist_top - high,
        beam_bottom=joist_top - high - dressed_m(deck.beam_size)[1],
        post_width=post_width,
        post_x=np.linspace(inset, width - inset, deck.post_count),
        foundation_top=_foundation_top(deck, ledger_bottom),
        cantilever=0.6 if deck.ledger_on == "house-cantilever" else 0.0,
    )


def _foundation_top(deck: DeckParams, ledger_bottom: float) -> float:
    """Return where the siding begins: below the ledger, or near the ground where a storey stands under it."""
    if deck.height_ft > UPPER_FLOOR_FROM_FT:
        return 0.35
    return max(0.05, ledger_bottom - 0.02 - 0.10 * (deck.seed % 7) / 6)
