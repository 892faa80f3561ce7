"""From a deck's parameters to the whole scene."""

from __future__ import annotations

from . import framing, guards, house, litter, yard
from .layout import Layout, layout
from .meshes import Scene
from .params import DeckParams
from .views import truck_place

#: A guard is needed where the deck is more than this above grade (IRC R312.1.1).
GUARD_FROM_IN = 30.0


def build(deck: DeckParams, *, with_yard: bool = True) -> tuple[Scene, Layout]:
    """Everything that a photo of this deck may show; the same parameters give the same arrays."""
    scene, plan = Scene(deck.seed), layout(deck)
    house.wall(scene, deck, plan)
    house.flashing(scene, deck, plan)
    framing.ledger(scene, deck, plan)
    framing.joists(scene, deck, plan)
    framing.decking(scene, deck, plan)
    framing.beam_and_posts(scene, deck, plan)
    if has_guard(deck):
        guards.guard(scene, deck, plan)
    guards.stairs(scene, deck, plan)
    litter.debris_at_wall(scene, deck, plan)
    litter.streaks(scene, deck, plan)
    litter.cobwebs(scene, deck, plan)
    land = yard.ground(scene, plan)
    if with_yard:
        house.openings(scene, plan)
        yard.grass(scene, plan, land)
        yard.backdrop(scene, plan)
        house.truck(scene, truck_place(plan))
    return scene, plan


def has_guard(deck: DeckParams) -> bool:
    """Whether the deck carries a guard."""
    return deck.height_ft * 12 > GUARD_FROM_IN
