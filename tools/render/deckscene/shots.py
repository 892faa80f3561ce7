"""Which photos are taken of each deck: the usual round, and what real cards also hold."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta, timezone
from typing import Any

import numpy as np

from . import design
from .decks import SECOND_VISITS, SEED, deck, levels_of, repaired
from .layout import layout
from .params import DeckParams
from .phone import Exposure
from .views import Aim

FIRST, SECOND = "first", "second"
ZONE = timezone(timedelta(hours=-5))
#: Full rounds: every view, so that `nothing-seen` can be said.
FULL_ROUNDS = design.SOUND
_EXTRAS = ("whole-deck", "beam-side", "guard", "hanger-far", "post-foot", "stairs")


@dataclass(frozen=True)
class Shot:
    """One photo to take: `name` is its path below the deck's folder, `seconds` since the round began."""

    deck: str
    visit: str
    name: str
    view: str
    aim: Aim
    light: str
    phone: int
    seconds: int
    number: int
    exposure: dict[str, float] = field(default_factory=dict)
    orientation: int = 1
    seed: int = SEED

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return asdict(self)

    def rng(self) -> np.random.Generator:
        """Random numbers of this photo alone."""
        return np.random.default_rng(
            [self.seed, int(self.deck.split("-")[1]), self.number, self.visit == SECOND]
        )

    def exposed(self) -> Exposure:
        """How it was exposed, before the gain is known."""
        return Exposure(**self.exposure)


def shots(i: int) -> list[Shot]:
    """The first visit to deck number i."""
    what, level = deck(i), levels_of(i)
    rng = np.random.default_rng([SEED, i, 1])
    plan = usual_round(i, what, level, rng)
    more = _special(i, what, plan, rng)  # it also changes some of the usual photos
    return timed([*plan, *more], rng)


def usual_round(
    i: int, what: DeckParams, level: dict[str, str | bool], rng: np.random.Generator, seed: int = SEED
) -> list[Shot]:
    """The usual photos of a deck, not timed yet; the number says which further views it gets."""
    light, phone = str(level["light"]), int(str(level["phone"]))
    return [
        Shot(what.code, FIRST, name, view, aim, light, phone, 0, 0, seed=seed)
        for name, view, aim in _round(i, what, rng)
    ]


def timed(plan: list[Shot], rng: np.random.Generator) -> list[Shot]:
    """The photos with their seconds since the round began, and their numbers."""
    seconds = 0
    found = []
    for number, shot in enumerate(plan):
        seconds += 1 if shot.name.startswith("burst") else int(rng.integers(12, 70))
        found.append(replace(shot, seconds=seconds, number=number))
    return found


def _sides(rng: np.random.Generator) -> int:
    return int(rng.choice([-1, 1]))


def _round(i: int, what: DeckParams, rng: np.random.Generator) -> list[tuple[str, str, Aim]]:
    """Hangers with and without a fault, ledger, flashing, beam; some rounds leave out what is sound there."""
    lost, rusted = list(what.missing_hangers), [j for j, s in what.rusted_hangers if s >= 0.4]
    sound = [
        j for j in range(1, what.joist_count() - 1) if j not in lost and j not in dict(what.rusted_hangers)
    ]
    if what.height_ft < design.GROUND_HUGGING_FT:
        return _from_above(rng)
    picked = [int(j) for j in rng.permutation(sound)]
    one = lost[0] if lost else picked[0]
    two = rusted[0] if rusted else picked[1]
    bay = int(rng.integers(2, what.joist_count() - 2))
    x = layout(what).joist_x
    between = float((x[bay - 1] + x[bay]) / 2 / layout(what).width)
    out = [
        ("hanger-1.jpg", "hanger-near", Aim(joist=one, side=_sides(rng))),
        ("hanger-2.jpg", "hanger-near", Aim(joist=two, side=_sides(rng))),
        ("ledger-1.jpg", "ledger-below", Aim(share=between, side=_sides(rng))),
    ]
    extras = [_EXTRAS[(i + k) % len(_EXTRAS)] for k in range(2)]
    full = i in FULL_ROUNDS
    if full or what.debris >= 0.3 or rng.random() > 0.35:
        out.append(
            ("flashing-1.jpg", "flashing-above", Aim(share=float(rng.uniform(0.42, 0.58)), side=_sides(rng)))
        )
    else:
        out.append(_extra(extras.pop(), what, rng))
    if full or what.beam_bearing == "side-bolted" or rng.random() > 0.3:
        out.append(("beam-1.jpg", "beam-end", Aim(side=_sides(rng))))
    else:
        out.append(_extra(extras.pop(), what, rng))
    if full:
        out += [_extra(name, what, rng) for name in _EXTRAS if name != "stairs" or what.has_stairs]
        out += _all_along(what)
    elif i % 6 == 0 and extras:
        out.append(_extra(extras.pop(), what, rng))
    return out


def _from_above(rng: np.random.Generator) -> list[tuple[str, str, Aim]]:
    """A deck that nobody gets under: the house joint from above, the edge, a post's foot, the whole."""
    out = [
        (f"flashing-{k}.jpg", "flashing-above", Aim(share=share, side=_sides(rng)))
        for k, share in ((1, 0.2), (2, 0.5), (3, 0.8))
    ]
    return [*out, ("beam-1.jpg", "beam-end", Aim(side=_sides(rng))), ("whole-deck.jpg", "whole-deck", Aim())]


def _all_along(what: DeckParams) -> list[tuple[str, str, Aim]]:
    """Every hanger (a row photo shows three), both ends of the ledger, every post: nothing is left out."""
    if what.joist_bearing == "hanger":
        starts = range(0, what.joist_count(), 3)
        out = [(f"hanger-row-{k + 1}.jpg", "hanger-far", Aim(joist=j, side=-1)) for k, j in enumerate(starts)]
    else:
        out = [
            (f"ledger-{k}.jpg", "ledger-below", Aim(share=share))
            for k, share in ((2, 0.12), (3, 0.88), (4, 0.5))
        ]
    return out + [(f"post-{k + 1}.jpg", "beam-side", Aim(post=k)) for k in range(what.post_count)]


def _extra(view: str, what: DeckParams, rng: np.random.Generator) -> tuple[str, str, Aim]:
    if view == "stairs" and not what.has_stairs:
        view = "whole-deck"
    middle = what.joist_count() // 2
    aim = Aim(joist=middle, post=int(rng.integers(0, what.post_count)), side=_sides(rng))
    return f"{view}.jpg", view, aim


def _special(i: int, what: DeckParams, plan: list[Shot], rng: np.random.Generator) -> list[Shot]:
    """What real cards hold besides: one kind each on some decks. Some change the plan in place."""
    if what.height_ft < design.GROUND_HUGGING_FT:
        return []
    near, ledger = plan[1], plan[2]
    middle = what.joist_count() // 2
    if i in (1, 25, 39):  # blurred
        return [replace(near, name="hanger-blurred.jpg", exposure={"shake_px": 9.0, "bias_ev": -0.3})]
    if i in (6, 31):  # a thumb over the lens
        return [replace(ledger, name="ledger-thumb.jpg", exposure={"thumb": 0.3})]
    if i in (9, 36):
        return [replace(near, name="truck.jpg", view="truck", aim=Aim())]
    if i in (2, 29):  # a walking burst of hangers that look nearly alike
        return [
            replace(near, name=f"burst-{k + 1}.jpg", aim=Aim(joist=middle - 2 + k, side=1)) for k in range(4)
        ]
    if i in (4, 15, 33):
        plan[1] = replace(near, orientation=3)
    elif i in (8, 19, 40):
        plan[0] = replace(plan[0], orientation=6, aim=replace(plan[0].aim, portrait=True))
    elif i in (10, 28, 35):
        plan[1] = replace(near, light="flash", exposure={"bias_ev": -0.4})
    elif i in (13, 34):  # two phones, and both have an IMG_0412
        other = (near.phone + 1) % 3
        plan[0] = replace(plan[0], name="phone-a/IMG_0412.jpg")
        plan[1] = replace(near, name="phone-b/IMG_0412.jpg", phone=other)
    return []


def second_visit(i: int) -> tuple[DeckParams, list[Shot]]:
    """The deck after repair, photographed from the same places."""
    after = repaired(deck(i))
    same = [
        s for s in shots(i) if s.name in ("hanger-1.jpg", "hanger-2.jpg", "ledger-1.jpg", "flashing-1.jpg")
    ]
    return after, [
        replace(s, visit=SECOND, light="overcast", orientation=1, aim=replace(s.aim, portrait=False))
        for s in same
    ]


def began(i: int, visit: str) -> datetime:
    """When the round of a deck began (invented)."""
    rng = np.random.default_rng([SEED, i, 2])
    day = datetime(2026, 5, 4, 8, 20, tzinfo=ZONE) + timedelta(
        days=i // 6, minutes=75 * (i % 6) + int(rng.integers(0, 20))
    )
    return day + timedelta(days=142, hours=1) if visit == SECOND else day


def place_of(i: int) -> tuple[float, float]:
    """Latitude and longitude of an invented place: open water, far from any house."""
    rng = np.random.default_rng([SEED, i, 3])
    return round(44.30 + float(rng.uniform(0, 0.05)), 5), round(-86.95 + float(rng.uniform(0, 0.05)), 5)


def schedule() -> list[tuple[int, str]]:
    """(deck number, visit) in the order of rendering: whole decks first, long rounds and repairs later."""
    early = [i for i in range(25) if i not in FULL_ROUNDS or i == FULL_ROUNDS[0]]
    late = [i for i in range(design.DECKS) if i not in early]
    return [
        *((i, FIRST) for i in early),
        *((i, SECOND) for i in SECOND_VISITS),
        *((i, FIRST) for i in late),
    ]
