"""Sorting by time and place: sure or asked, never two houses in one deck."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from triage.ingest.sightings import sighting
from triage.ingest.walk import Why, sort_by_walk
from triage.ingest.walk_model import DECK_FOLDER, FLAT_FOLDER

TEN = datetime(2026, 5, 4, 10, 0)
HOME = (44.30, -86.90)
METER = 1 / 111_195


def stay(
    name, minute, count=8, meters=0.0, every_s=15, phone="Invented Phone 1", zone="", placed=True, first=None
):
    """Photos of one stop: every so many seconds, so many meters north of the first house."""
    found = []
    for number in range(count):
        at = TEN + timedelta(minutes=minute, seconds=every_s * number)
        wobble = (number % 3 - 1) * 2
        private = {"latitude": HOME[0] + (meters + wobble) * METER, "longitude": HOME[1]}
        found.append(
            sighting(
                f"{name}{number}",
                f"heap/IMG_{(first or int(minute * 50) + 1000) + number:04d}.jpg",
                at.isoformat() + zone,
                phone,
                private if placed else {},
            )
        )
    return found


def by_stop(sorting):
    """Return the decks that each stop's photos went to (a stop is the key's first letter)."""
    found: dict[str, set[str]] = {}
    for key, deck in sorting.decks.items():
        found.setdefault(key[0], set()).add(deck)
    return found


def kinds(sorting):
    return sorted((doubt.why.value, len(doubt.keys), doubt.proposal) for doubt in sorting.doubts)


def test_four_houses_with_pauses_are_four_decks():
    photos = [one for n, name in enumerate("abcd") for one in stay(name, 45 * n, meters=5500 * n)]
    found = sort_by_walk(photos)
    assert by_stop(found) == {name: {f"2026-05-04-{n}"} for n, name in enumerate("abcd", 1)}
    assert found.doubts == []
    assert all(one.probability > 0.98 for one in found.boundaries)


def test_a_row_house_next_door_is_a_question():
    found = sort_by_walk(stay("a", 0, 10) + stay("b", 6, 6, meters=6))
    assert by_stop(found) == {"a": {"2026-05-04-1"}}
    assert [(one.why, len(one.keys)) for one in found.doubts] == [(Why.PAUSE, 6)]
    assert found.doubts[0].beside == "2026-05-04-1"


def test_two_decks_at_one_house_are_a_question():
    found = sort_by_walk(stay("a", 0, 10) + stay("b", 5, 6, meters=18))
    assert set(by_stop(found)) == {"a"}
    assert len(found.doubts) == 1


def test_a_position_that_lags_on_arrival_does_not_split_or_move_a_stop():
    second = stay("b", 25, 9, meters=3000)
    stale = [replace(one, place=HOME) for one in second[:4]] + second[4:]
    found = sort_by_walk(stay("a", 0, 10) + stale)
    assert by_stop(found) == {"a": {"2026-05-04-1"}, "b": {"2026-05-04-2"}}
    assert found.doubts == []


def test_a_return_to_the_first_house_is_a_question():
    found = sort_by_walk(stay("a", 0, 10) + stay("b", 40, 8, 5000) + stay("c", 300, 5))
    assert by_stop(found) == {"a": {"2026-05-04-1"}, "b": {"2026-05-04-2"}}
    assert kinds(found) == [("return", 5, "2026-05-04-1")]


@pytest.mark.parametrize("zone", ["", "-05:00"])
def test_two_inspectors_at_one_house_are_a_question(zone):
    other = stay("b", 1, 6, meters=5, phone="Invented Phone 2", zone=zone, first=50)
    found = sort_by_walk(stay("a", 0, 10) + other)
    assert by_stop(found) == {"a": {"2026-05-04-1"}}
    assert kinds(found) == [("two-phones", 6, "2026-05-04-1")]


def test_a_clock_in_another_zone_is_seen_through_by_the_place():
    other = stay("b", 60, 6, meters=9000, phone="Invented Phone 2", first=50)
    found = sort_by_walk(stay("a", 0, 10) + stay("c", 60, 10, meters=4000) + other)
    assert {len(decks) for decks in by_stop(found).values()} == {1}
    assert len({next(iter(decks)) for decks in by_stop(found).values()}) == 3


def test_two_phones_of_one_make_in_one_folder_are_told_apart_by_their_counters():
    here = stay("a", 0, 10, first=400)
    there = stay("b", 0.1, 10, meters=4000, first=9000)
    found = sort_by_walk(here + there)
    assert by_stop(found)["a"].isdisjoint(by_stop(found)["b"])


def test_two_phones_without_counters_far_apart_are_never_one_deck():
    photos = stay("a", 0, 10) + stay("b", 0.1, 10, meters=4000)
    nameless = [replace(one, name=f"{one.key}x.jpg") for one in photos]
    found = by_stop(sort_by_walk(nameless))
    assert found.get("a", set()).isdisjoint(found.get("b", set()))


def test_photos_without_a_time_wait():
    found = sort_by_walk(stay("a", 0, 10) + [sighting("m1", "heap/IMG-WA1.jpg", None, None, {})])
    assert kinds(found) == [("no-time", 1, None)] or found.doubts[0].why is Why.NO_TIME
    assert "m1" not in found.decks


@pytest.mark.parametrize("year", ["1970", "2038", "0000"])
def test_a_year_that_cannot_be_right_is_no_time(year):
    assert sighting("a", "a.jpg", f"{year}-01-01T00:00:00", None, {}).at_s is None


def test_all_photos_at_one_second_have_no_time():
    photos = [replace(one, at_s=1e9, day="2026-05-04") for one in stay("a", 0, 10)]
    found = sort_by_walk(photos)
    assert found.decks == {}
    assert {one.why for one in found.doubts} == {Why.NO_TIME}


def test_zero_and_swapped_positions_merge_nothing():
    none = sighting("a", "a.jpg", TEN.isoformat(), None, {"latitude": 0.0, "longitude": 0.0})
    bad = sighting("a", "a.jpg", TEN.isoformat(), None, {"latitude": float("nan"), "longitude": 1.0})
    assert none.place is None
    assert bad.place is None
    swapped = [replace(one, place=(one.place[0], -one.place[1])) for one in stay("b", 20, 8, meters=3000)]
    found = by_stop(sort_by_walk(stay("a", 0, 10) + swapped))
    assert found.get("b", {"x"}).isdisjoint(found["a"])


def test_without_positions_a_long_pause_is_a_question():
    found = sort_by_walk(stay("a", 0, 10, placed=False) + stay("b", 45, 6, placed=False))
    assert by_stop(found) == {"a": {"2026-05-04-1"}}
    assert kinds(found) == [("long-pause", 6, "2026-05-04-2")]


def test_a_named_folder_stays_one_deck_unless_something_speaks_against_it():
    one = stay("a", 0, 10) + stay("b", 5, 6, meters=8)
    assert set(sort_by_walk(one, trust=DECK_FOLDER, base="D-17").decks.values()) == {"D-17"}
    far = sort_by_walk(stay("a", 0, 10) + stay("b", 5, 6, meters=900), trust=DECK_FOLDER, base="D-17")
    assert by_stop(far) == {"a": {"D-17"}}
    assert kinds(far) == [("far-apart", 6, "D-17-2")]
    late = sort_by_walk(
        stay("a", 0, 10, placed=False) + stay("b", 50, 6, placed=False), trust=DECK_FOLDER, base="D-17"
    )
    assert kinds(late) == [("long-pause", 6, "D-17-2")]


@pytest.mark.parametrize("placed", [True, False])
def test_two_phones_at_one_time_in_a_flat_folder_are_a_question(placed):
    other = stay("b", 1, 6, phone="Invented Phone 2", first=50, placed=placed)
    photos = stay("a", 0, 10, placed=placed) + other
    found = sort_by_walk(photos, trust=FLAT_FOLDER, base="Elm Street")
    assert by_stop(found) == {"a": {"Elm Street"}}
    assert {one.why for one in found.doubts} == {Why.PHONES}
    named = sort_by_walk(photos, trust=DECK_FOLDER, base="D-17")
    assert set(named.decks.values()) == {"D-17"}


def test_a_flat_folder_of_four_houses_is_split():
    photos = [one for n, name in enumerate("abcd") for one in stay(name, 45 * n, meters=5500 * n)]
    found = sort_by_walk(photos, trust=FLAT_FOLDER, base="Elm Street")
    assert len(set(found.decks.values())) == 4
    assert {len(decks) for decks in by_stop(found).values()} == {1}


def test_the_order_in_which_photos_come_does_not_matter():
    photos = stay("a", 0, 10) + stay("b", 40, 8, 5000) + stay("c", 300, 5)
    first, turned = sort_by_walk(photos), sort_by_walk(photos[::-1])
    assert first.decks == turned.decks
    assert first.doubts == turned.doubts
