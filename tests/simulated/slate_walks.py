"""Made walks with the truth: what sorting by cards is measured by.

A walk is one or two people with phones who go from deck to deck. Cards are forgotten, blurred or foreign,
clocks stand wrong or jump, photos lose their time. Nothing here uses the code under test except its records.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone

from triage.slate.card import Card
from triage.slate.sorting import WalkPhoto

LIBRARY = "3fa9c1d2"
MORNING = datetime(2026, 5, 4, 9, 0)
SHORTEST_MOVE_S = 130.0


@dataclass
class Habits:
    """How likely things go wrong in a walk, and how its people work."""

    closing: bool = True
    start_missing: float = 0.0
    end_missing: float = 0.0
    blurred: float = 0.0
    foreign: float = 0.0
    long_pause: float = 0.0
    phones: int = 1
    apart: bool = False
    wrong_clocks: bool = False
    clock_jumps: bool = False
    zoned: bool = False
    no_time: float = 0.0
    one_folder: bool = False
    next_door: float = 0.0
    """Share of moves that take less than the pause that sorting goes by; the START card is shown then."""


@dataclass
class Walk:
    """Photos in a shuffled order, and the deck of each."""

    photos: list[WalkPhoto] = field(default_factory=list)
    truth: dict[str, str] = field(default_factory=dict)


@dataclass
class _Phone:
    name: str
    rng: random.Random
    habits: Habits
    shots: list[tuple[float, str, Card | None, str | None]] = field(default_factory=list)

    def visit(
        self, deck: str, start_s: float, leave_s: float, cards: tuple[Card, Card], *, sure: bool = False
    ) -> None:
        """Photograph one deck between two moments of true time: card (if sure, in any case), photos, card."""
        rng, habits = self.rng, self.habits
        now = start_s
        if rng.random() >= habits.start_missing or sure:
            self._card(now, deck, cards[0])
            now += rng.uniform(3, 25)
        while now < leave_s - 30:
            self.shots.append((now, deck, None, None))
            gap = 2 + min(rng.expovariate(1 / 14), 90)
            if rng.random() < habits.long_pause:
                gap = rng.uniform(60, 900)
            now += gap
        if habits.closing and rng.random() >= habits.end_missing:
            last = max((shot[0] for shot in self.shots), default=start_s)
            self._card(max(last + 3, min(leave_s - rng.uniform(2, 20), last + 80)), deck, cards[1])

    def _card(self, at_s: float, deck: str, card: Card) -> None:
        chance = self.rng.random()
        if chance < self.habits.blurred:
            self.shots.append((at_s, deck, None, "its code cannot be read"))
        elif chance < self.habits.blurred + self.habits.foreign:
            self.shots.append((at_s, deck, None, "the card belongs to another library"))
        else:
            self.shots.append((at_s, deck, card, None))

    def photos(self, walk: Walk) -> None:
        """Write this phone's photos as its own clock and counter saw them."""
        rng, habits = self.rng, self.habits
        wrong = rng.uniform(-1, 1) * rng.choice([30, 4000, 90000, 3e7]) if habits.wrong_clocks else 0.0
        counted = habits.clock_jumps or habits.one_folder or rng.random() < 0.6
        phone = "phones of one kind" if habits.one_folder else self.name
        taken = {photo.name for photo in walk.photos if photo.phone == phone}
        counter = rng.choice([1, 412, 9985])
        jump_at = rng.randrange(len(self.shots) or 1) if habits.clock_jumps else -1
        zone = timezone(timedelta(hours=rng.choice([-7, 0, 2]))) if habits.zoned else None
        for place, (at_s, deck, card, unclear) in enumerate(sorted(self.shots, key=lambda shot: shot[0])):
            if place == jump_at:
                wrong += rng.choice([-3600, 3600, -7200, 40, -40, -600])
            moment = MORNING + timedelta(seconds=round(at_s + wrong, rng.choice([0, 2])))
            if zone is not None:
                moment = moment.replace(tzinfo=UTC).astimezone(zone)
            number = (counter + place - 1) % 9999 + 1
            name = f"IMG_{number:04d}.jpg" if counted else f"{rng.getrandbits(64):016x}x.jpg"
            name = name.replace(".jpg", " (1).jpg") if name in taken else name
            key = f"{self.name}/{place}"
            time = None if rng.random() < habits.no_time else moment.isoformat()
            walk.photos.append(WalkPhoto(key, phone, name, time, card, unclear))
            walk.truth[key] = deck


def draw_habits(rng: random.Random) -> Habits:
    """One kind of walk out of many, the good ones among them."""
    bad = rng.random() < 0.8
    return Habits(
        closing=rng.random() < 0.5,
        start_missing=rng.choice([0.0, 0.15, 0.4]) if bad else 0.0,
        end_missing=rng.choice([0.0, 0.2, 0.6]) if bad else 0.0,
        blurred=rng.choice([0.0, 0.1]) if bad else 0.0,
        foreign=rng.choice([0.0, 0.05]) if bad else 0.0,
        long_pause=rng.choice([0.0, 0.01, 0.05]),
        phones=rng.choice([1, 2, 2]),
        apart=rng.random() < 0.3,
        wrong_clocks=rng.random() < 0.5,
        clock_jumps=bad and rng.random() < 0.3,
        zoned=rng.random() < 0.3,
        no_time=rng.choice([0.0, 0.0, 0.02]) if bad else 0.0,
        one_folder=rng.random() < 0.15,
    )


def draw_walk(rng: random.Random, habits: Habits) -> Walk:
    """Make one walk of two to eight decks."""
    decks = [f"D-{n:02d}" for n in range(1, rng.randint(3, 9))]
    phones = [_Phone(name, rng, habits) for name in ("phone-a", "phone-b")[: habits.phones]]
    cards = {
        deck: (Card(LIBRARY, deck, "2026-05-04"), Card(LIBRARY, deck, "2026-05-04", closing=True))
        for deck in decks
    }
    if habits.apart and len(phones) == 2:
        _walk_apart(rng, phones, decks, cards)
    else:
        _walk_together(rng, phones, decks, cards)
    walk = Walk()
    for phone in phones:
        phone.photos(walk)
    rng.shuffle(walk.photos)
    return walk


def _walk_together(
    rng: random.Random, phones: list[_Phone], decks: list[str], cards: dict[str, tuple[Card, Card]]
) -> None:
    now, close = 0.0, False
    for deck in decks:
        stay = rng.uniform(200, 1500)
        ends = []
        for phone in phones:
            start, leave = now + rng.uniform(0, 60), now + stay + rng.uniform(-60, 60)
            phone.visit(deck, start, leave, cards[deck], sure=close)
            ends.append(max(phone.shots[-1][0] if phone.shots else leave, leave))
        close = phones[0].habits.next_door > 0 and rng.random() < phones[0].habits.next_door
        now = max(ends) + (rng.uniform(10, 40) if close else SHORTEST_MOVE_S + rng.choice([0, 20, 300, 1800]))


def _walk_apart(
    rng: random.Random, phones: list[_Phone], decks: list[str], cards: dict[str, tuple[Card, Card]]
) -> None:
    """They meet at the first deck and then share the others out."""
    for number, phone in enumerate(phones):
        now = rng.uniform(0, 40)
        for deck in [decks[0], *decks[1 + number :: 2]]:
            leave = now + rng.uniform(200, 1500)
            phone.visit(deck, now, leave, cards[deck])
            now = max(phone.shots[-1][0] if phone.shots else leave, leave)
            now += SHORTEST_MOVE_S + rng.choice([0, 20, 300, 1800])
