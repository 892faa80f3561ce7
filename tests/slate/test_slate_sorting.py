"""Sorting a batch by its cards: right or left open, never wrong."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from tests.simulated import slate_walks
from triage.slate.card import Card
from triage.slate.sorting import DOUBT, Placed, WalkPhoto, sort_walk
from triage.slate.stream import CARD_WITHOUT_TIME

LIBRARY = "3fa9c1d2"
A, A_END = Card(LIBRARY, "A", "2026-05-04"), Card(LIBRARY, "A", "2026-05-04", closing=True)
B, B_END = Card(LIBRARY, "B", "2026-05-04"), Card(LIBRARY, "B", "2026-05-04", closing=True)
C, C_END = Card(LIBRARY, "C", "2026-05-04"), Card(LIBRARY, "C", "2026-05-04", closing=True)
BLURRED = "its code cannot be read"
TEN = datetime(2026, 5, 4, 10, 0)


def walk(*steps: tuple[float, Card | str | None], phone: str = "p", shift_s: float = 0.0) -> list[WalkPhoto]:
    """Photos at seconds after ten: a card, a reason why a card cannot be used, or nothing."""
    photos = []
    for place, (at_s, shown) in enumerate(steps):
        photos.append(
            WalkPhoto(
                key=f"{phone}{place}",
                phone=phone,
                name=f"{phone}{place}x.jpg",
                taken_at=(TEN + timedelta(seconds=at_s + shift_s)).isoformat(),
                card=shown if isinstance(shown, Card) else None,
                unclear=shown if isinstance(shown, str) else None,
            )
        )
    return photos


def decks(placed: list[Placed]) -> str:
    return "".join(one.deck or "?" for one in placed)


@pytest.mark.parametrize(
    ("steps", "wanted"),
    [
        ([(0, A), (10, None), (20, None), (300, B), (310, None)], "AAABB"),
        ([(0, None), (10, A), (20, None)], "?AA"),
        ([(0, A), (10, None), (400, None), (410, None)], "AA??"),
        ([(0, A), (10, None), (400, None), (410, A_END), (420, None)], "AAAA?"),
        ([(0, A), (10, None), (300, None), (310, B_END)], "AABB"),
        ([(0, A), (10, None), (60, None), (70, B_END)], "A??B"),
        ([(0, A), (10, None), (300, BLURRED), (310, None), (600, C), (610, None)], "AA??CC"),
        ([(0, BLURRED), (10, None), (20, A_END)], "?AA"),
        ([(0, A), (10, None), (300, None), (310, None), (700, C)], "AA??C"),
        ([(0, A), (5, A_END), (10, None), (300, B), (310, None)], "AA?BB"),
        ([(0, A_END), (10, None), (15, B_END)], "A?B"),
        ([(0, A), (3, B), (6, C), (2000, None)], "ABC?"),
    ],
)
def test_what_hangs_on_a_card_follows_it_and_all_else_stays_open(
    steps: list[tuple[float, Card | str | None]], wanted: str
) -> None:
    assert decks(sort_walk(walk(*steps))) == wanted


def test_every_decision_and_every_open_question_has_its_reason() -> None:
    placed = sort_walk(walk((0, None), (10, A), (20, None), (500, None), (900, BLURRED), (910, None)))
    said = [one.reason for one in placed]
    assert said == [
        "no card was shown before it",
        "shows the START card of A",
        "follows the START card of A without a pause",
        "comes after A and a pause of 8 min, without its END card",
        BLURRED,
        f"comes after a card that cannot be used: {BLURRED}",
    ]


def test_a_photo_without_time_is_open_unless_it_shows_a_card() -> None:
    photos = [WalkPhoto("a", "p", "a.jpg", None), WalkPhoto("b", "p", "b.jpg", None, card=A)]
    assert decks(sort_walk(photos)) == "?A"


def test_the_visit_of_the_card_goes_with_it() -> None:
    assert {one.visit for one in sort_walk(walk((0, A), (10, None)))} == {"2026-05-04"}


def test_photos_of_one_second_keep_the_order_of_their_names() -> None:
    photos = [
        WalkPhoto("late", "p", "IMG_0003.jpg", "2026-05-04T10:00:00"),
        WalkPhoto("card", "p", "IMG_0002.jpg", "2026-05-04T10:00:00", card=A),
        WalkPhoto("early", "p", "IMG_0001.jpg", "2026-05-04T10:00:00"),
    ]
    assert decks(sort_walk(photos)) == "AA?"


def test_a_counter_that_turns_over_keeps_its_order() -> None:
    names = ["IMG_9998.jpg", "IMG_9999.jpg", "IMG_0001.jpg", "IMG_0002.jpg"]
    photos = [
        WalkPhoto(name, "p", name, f"2026-05-04T10:00:{10 * place:02d}", card=A if place == 0 else None)
        for place, name in enumerate(names)
    ]
    assert decks(sort_walk(photos)) == "AAAA"


def test_after_a_step_back_of_the_clock_nothing_follows_from_an_earlier_card() -> None:
    times = ["10:00:00", "10:00:10", "09:30:00", "09:30:10"]
    photos = [
        WalkPhoto(str(n), "p", f"IMG_000{n}.jpg", f"2026-05-04T{time}", card=A if n == 0 else None)
        for n, time in enumerate(times)
    ]
    placed = sort_walk(photos)
    assert decks(placed) == "AA??"
    assert "clock jumped" in placed[2].reason


def test_two_phones_of_one_kind_in_one_folder_are_told_apart_by_their_counters() -> None:
    def shot(name: str, minute: int, card: Card | None = None) -> WalkPhoto:
        return WalkPhoto(name, "p", name, f"2026-05-04T10:{minute:02d}:00", card)

    apart = [shot("IMG_0001.jpg", 0, A), shot("IMG_0002.jpg", 1), shot("IMG_0003.jpg", 3)]
    apart += [shot("IMG_0900.jpg", 0, B), shot("IMG_0901.jpg", 2), shot("IMG_0902.jpg", 3)]
    assert decks(sort_walk(apart)) == "AAABBB"
    met = [*apart, shot("IMG_0002 (1).jpg", 9)]
    placed = sort_walk(met)
    assert decks(placed) == "A??B???"
    assert "give each phone its own folder" in placed[1].reason


def test_between_start_and_end_only_where_the_clock_never_steps_back() -> None:
    times = {"IMG_0001.jpg": ("10:30", A), "IMG_0002.jpg": ("10:31", None)}
    times |= {"IMG_0900.jpg": ("10:00", None), "IMG_0901.jpg": ("10:40", A_END)}
    photos = [WalkPhoto(name, "p", name, f"2026-05-04T{at}:00", card) for name, (at, card) in times.items()]
    assert decks(sort_walk(photos)) == "AA?A"


def _two_phones(shift_s: float, second: list[tuple[float, Card | str | None]]) -> list[Placed]:
    steady = [(s, None) for s in range(1010, 2000, 30)]
    first = walk((0, A), (20, None), (1000, B), *steady, (2500, C), (2520, None), phone="p")
    other = walk(*second, phone="q", shift_s=shift_s)
    return sort_walk(first + other)[len(first) :]


@pytest.mark.parametrize("shift_s", [0.0, -5000.0, 86400.0])
def test_a_missed_card_is_made_up_for_by_a_phone_that_walked_along(shift_s: float) -> None:
    missed = [(s, None) for s in range(1050, 1900, 40)]
    placed = _two_phones(shift_s, [(5, A), (25, None), *missed, (2510, C), (2530, None)])
    assert decks(placed) == "AA" + "B" * len(missed) + "CC"
    assert placed[5].reason == "taken while p, which walked along, was at B"


def test_one_shared_card_settles_no_clock() -> None:
    placed = _two_phones(0, [(5, A), (25, None), (1500, None), (2520, None)])
    assert decks(placed) == "AA??"


def test_a_card_that_only_one_phone_saw_shows_that_they_walked_apart() -> None:
    other = Card(LIBRARY, "D", "2026-05-04")
    placed = _two_phones(0, [(5, A), (25, None), (900, other), (1500, None), (2510, C)])
    assert decks(placed) == "AAD?C"


def test_clocks_that_the_shared_cards_do_not_agree_on_are_not_compared() -> None:
    placed = _two_phones(0, [(5, A), (25, None), (1500, None), (3900, C)])
    assert decks(placed) == "AA?C"


def _wrong(seed: int, **settings: float) -> tuple[int, int, int]:
    rng = random.Random(seed)
    made = slate_walks.draw_walk(rng, slate_walks.draw_habits(rng))
    placed = sort_walk(made.photos, **settings)
    wrong = sum(one.deck not in (None, made.truth[one.key]) for one in placed)
    return wrong, sum(one.deck is None for one in placed), len(placed)


def test_no_photo_of_many_made_walks_is_placed_wrongly() -> None:
    told = [_wrong(seed) for seed in range(300)]
    assert sum(one[0] for one in told) == 0
    assert sum(one[1] for one in told) / sum(one[2] for one in told) < 0.3


def test_no_photo_is_placed_wrongly_next_door_where_cards_have_lost_their_time() -> None:
    """From deck to deck in less than the pause, but with a card: it may be one that has no time."""
    opened = photos = 0
    for seed in range(300):
        rng = random.Random(20_000 + seed)
        habits = replace(slate_walks.draw_habits(rng), phones=1, next_door=0.6, no_time=0.06, blurred=0.1)
        habits.clock_jumps = False
        made = slate_walks.draw_walk(rng, habits)
        placed = sort_walk(made.photos)
        assert [one.key for one in placed if one.deck not in (None, made.truth[one.key])] == [], seed
        opened += sum(one.deck is None for one in placed)
        photos += len(placed)
    assert opened / photos < 0.5


@pytest.mark.parametrize("shown", [B, BLURRED])
def test_a_card_without_a_time_divides_the_walk_where_its_counter_says(shown: Card | str) -> None:
    photos = numbered(walk((0, A), (10, None), (20, None), (30, shown), (40, None), (50, None)))
    photos[3] = replace(photos[3], taken_at=None)
    own = "B" if shown is B else "?"
    assert decks(sort_walk(photos)) == f"AAA{own}??"
    why = shown if shown == BLURRED else CARD_WITHOUT_TIME
    assert sort_walk(photos)[4].reason == f"comes after a card that cannot be used: {why}"


def test_a_card_without_a_time_or_counter_leaves_open_what_it_may_lie_before() -> None:
    photos = walk((0, A), (10, None), (20, None), (30, B), (40, None), (700, C), (710, None), (720, C_END))
    photos[3] = replace(photos[3], taken_at=None)
    placed = sort_walk(photos)
    assert decks(placed) == "A??B?CCC"
    assert placed[1].reason == DOUBT
    elsewhere = [replace(one, key=f"other/{one.key}", phone="q") for one in walk((0, A), (10, None))]
    assert decks(sort_walk(photos + elsewhere)) == "A??B?CCC" + "AA"


def test_a_file_that_could_not_be_looked_at_belongs_to_the_phones_of_its_folder() -> None:
    photos = [replace(one, key=f"card/{one.name}") for one in walk((0, A), (10, None), (20, None))]
    blind = WalkPhoto("card/broken.jpg", "another name", "broken.jpg", None, unclear="cannot be read")
    assert decks(sort_walk([*photos, blind])) == "A???"
    assert decks(sort_walk([*photos, replace(blind, key="else/broken.jpg")])) == "AAA?"


def numbered(photos: list[WalkPhoto]) -> list[WalkPhoto]:
    """Give the photos the names of a camera that counts."""
    return [replace(one, name=f"IMG_{place + 412:04d}.jpg") for place, one in enumerate(photos)]


def test_the_made_walks_do_show_a_careless_rule_its_mistakes() -> None:
    assert sum(_wrong(seed, pause_s=1200.0)[0] for seed in range(40)) > 100


@pytest.mark.parametrize("phones", [1, 2])
def test_a_walk_in_which_nothing_is_forgotten_leaves_nothing_open(phones: int) -> None:
    for seed in range(20):
        habits = slate_walks.Habits(phones=phones, long_pause=0.02, wrong_clocks=True)
        made = slate_walks.draw_walk(random.Random(seed), habits)
        assert {one.key: one.deck for one in sort_walk(made.photos)} == made.truth


def test_the_order_in_which_photos_come_does_not_matter() -> None:
    rng = random.Random(5)
    made = slate_walks.draw_walk(rng, slate_walks.draw_habits(rng))
    first = {one.key: one for one in sort_walk(made.photos)}
    rng.shuffle(made.photos)
    assert {one.key: one for one in sort_walk(made.photos)} == first
