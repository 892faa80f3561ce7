"""Made seasons with the truth: what sorting by time and place is measured by.

A season is one person's (or two people's) day from deck to deck: drives, neighbors, row houses 6 m apart,
two decks at one house, a return. Positions err by the figure of GPS.gov for phones under open sky (4.9 m;
van Diggelen and Enge 2015), with heavy tails, errors that stay the same during a stop, lag on arrival, and
gaps; clocks stand in other zones; photos lose their time. How often each happens stands in `Habits` and is
common practice, not measured. Nothing here uses the code under test but its record of a photo.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from triage.ingest.sightings import Sighting, sighting

MORNING = datetime(2026, 5, 4, 8, 0)
HOME = (44.3, -86.9)
OPEN_SKY_M = 4.9 / 1.18
"""Standard deviation in each direction: 4.9 m is the radius that half of the positions keep (1.18 of it)."""
METER = 1 / 111_195
FASTEST_CAR_M_S = 30.0


@dataclass
class Habits:
    """How often things happen. Chances are per photo, per stop, per move or per season as named."""

    row_house_per_move: float = 0.01
    second_deck_per_move: float = 0.01
    neighbor_per_move: float = 0.02
    return_per_season: float = 0.03
    long_pause_per_photo: float = 0.003
    lunch_per_photo: float = 0.0003
    lag_per_stop: float = 0.05
    whole_lag_per_stop: float = 0.004
    multipath_per_stop: float = 0.03
    outlier_per_photo: float = 0.01
    missing_per_photo: float = 0.03
    missing_per_season: float = 0.004
    car_photo_per_move: float = 0.03
    two_people_per_season: float = 0.04
    apart_of_two: float = 0.4
    no_time_per_photo: float = 0.001
    counters_per_phone: float = 0.6
    rhythm_s: tuple[float, float] = (8.0, 14.0)


SCATTERED = Habits()
"""Single houses, most of them a drive apart."""
DENSE = Habits(row_house_per_move=0.06, second_deck_per_move=0.03, neighbor_per_move=0.06)
"""A town of row houses, one move in seven on foot."""
SLOW = Habits(rhythm_s=(14.0, 24.0), long_pause_per_photo=0.01, two_people_per_season=0.15)
"""Slow photographers who talk a lot, and one day in seven with a colleague."""
HABITS = {"scattered": SCATTERED, "dense": DENSE, "slow": SLOW}


@dataclass
class Season:
    """Photos in any order, and the deck of each (empty for none) by key."""

    photos: list[Sighting] = field(default_factory=list)
    truth: dict[str, str] = field(default_factory=dict)


@dataclass
class _Stop:
    deck: str
    east_m: float
    north_m: float
    start_s: float
    photos: int


@dataclass
class _Phone:
    name: str
    rhythm_s: float
    zone: str
    counter: int | None
    wrong_s: float
    positions: bool
    last: tuple[float, float] | None = None
    taken: int = 0
    ended_s: float = 0.0


def draw_season(rng: random.Random, habits: Habits | None = None) -> Season:
    """Make one season."""
    habits = habits or Habits()
    season = Season()
    people = 2 if rng.random() < habits.two_people_per_season else 1
    stops = _stops(rng, habits, "")
    phones = [_phone(rng, habits, name) for name in ("a", "b")[:people]]
    _walk(rng, habits, phones[0], stops, season, 1.0)
    if people == 2 and rng.random() < habits.apart_of_two:
        _walk(rng, habits, phones[1], _stops(rng, habits, "x"), season, 1.0)
    elif people == 2:
        _walk(rng, habits, phones[1], stops, season, rng.uniform(0.2, 0.5))
    rng.shuffle(season.photos)
    return season


def _phone(rng: random.Random, habits: Habits, name: str) -> _Phone:
    return _Phone(
        name,
        rng.uniform(*habits.rhythm_s),
        rng.choice(["", "-05:00"]),
        rng.randrange(9999) if rng.random() < habits.counters_per_phone else None,
        rng.choice([0.0, 0.0, 3600.0, -10_800.0]) if name == "b" else 0.0,
        rng.random() >= habits.missing_per_season,
    )


def _stops(rng: random.Random, habits: Habits, mark: str) -> list[_Stop]:
    """Draw the stops of a day, with their places (meters) and the time of the first photo."""
    now, east, north = rng.uniform(0, 3600), rng.uniform(-9e3, 9e3), rng.uniform(-9e3, 9e3)
    found = []
    number = rng.randint(8, 16)
    for place in range(number):
        photos = max(4, round(rng.lognormvariate(math.log(14), 0.4)))
        found.append(_Stop(f"{mark}{place}", east, north, now, photos))
        now += photos * 30.0
        kind = rng.random()
        if kind < habits.row_house_per_move:
            meters, pause = 6.0 + rng.uniform(0, 4), max(75.0, rng.lognormvariate(math.log(240), 0.5))
        elif kind < habits.row_house_per_move + habits.second_deck_per_move:
            meters, pause = rng.uniform(8, 22), max(75.0, rng.lognormvariate(math.log(170), 0.45))
        elif kind < habits.row_house_per_move + habits.second_deck_per_move + habits.neighbor_per_move:
            meters, pause = rng.uniform(18, 70), max(90.0, rng.lognormvariate(math.log(300), 0.5))
        else:
            meters = math.exp(rng.uniform(math.log(200), math.log(15_000)))
            pause = meters / rng.uniform(8, 14) + rng.lognormvariate(math.log(420), 0.6)
        turn = rng.uniform(0, 2 * math.pi)
        east, north, now = east + meters * math.cos(turn), north + meters * math.sin(turn), now + pause
    if number > 4 and rng.random() < habits.return_per_season:
        first = found[0]
        found.append(_Stop(first.deck, first.east_m, first.north_m, now + 600, 6))
    return found


def _walk(
    rng: random.Random, habits: Habits, phone: _Phone, stops: list[_Stop], season: Season, share: float
) -> None:
    late = 0.0
    before: _Stop | None = None
    for stop in stops:
        if before is not None and share == 1.0 and rng.random() < habits.car_photo_per_move:
            _from_car(rng, phone, before, stop, late, season)
        late = _stay(rng, habits, phone, stop, late, season, share)
        before = stop


def _from_car(
    rng: random.Random, phone: _Phone, before: _Stop, stop: _Stop, late: float, season: Season
) -> None:
    meters = math.hypot(stop.east_m - before.east_m, stop.north_m - before.north_m)
    at = stop.start_s + late - rng.uniform(100, 180)
    part = rng.uniform(0.3, 0.9)
    driven_s = min(at - phone.ended_s - 60, stop.start_s + late - at - 60)
    if meters < 200 or driven_s <= 0 or max(part, 1 - part) * meters / driven_s > FASTEST_CAR_M_S:
        return  # nobody drives so fast
    place = (
        before.north_m + part * (stop.north_m - before.north_m),
        before.east_m + part * (stop.east_m - before.east_m),
    )
    _take(phone, at, place, 5.0, "", season, timed=True)


def _stay(
    rng: random.Random,
    habits: Habits,
    phone: _Phone,
    stop: _Stop,
    late: float,
    season: Season,
    share: float,
) -> float:
    """Take the photos of one stop; returns by how much the rest of the day is late."""
    now = stop.start_s + late + (rng.uniform(0, 90) if share < 1 else 0.0)
    spread = OPEN_SKY_M * (rng.uniform(3, 8) if rng.random() < habits.multipath_per_stop else 1.0)
    off = rng.gauss(0, spread), rng.gauss(0, spread)
    stale = 0
    if phone.last is not None and rng.random() < habits.lag_per_stop:
        stale = rng.randint(1, 5)
    if phone.last is not None and rng.random() < habits.whole_lag_per_stop:
        stale = 1000
    began, photos = now, max(1, round(stop.photos * share))
    for number in range(photos):
        step = 2.5 + (6.0 if rng.random() < habits.outlier_per_photo else 0.0) * OPEN_SKY_M
        place = (stop.north_m + off[0] + rng.gauss(0, step), stop.east_m + off[1] + rng.gauss(0, step))
        if number < stale and phone.last is not None:
            place = phone.last
        known = phone.positions and rng.random() >= habits.missing_per_photo
        error = spread if spread < 9 else spread * rng.uniform(0.5, 1.0)
        timed = rng.random() >= habits.no_time_per_photo
        phone.ended_s = now
        _take(phone, now, place if known else None, error, stop.deck, season, timed=timed)
        chance = rng.random()
        if chance < habits.lunch_per_photo:
            now += rng.lognormvariate(math.log(2400), 0.4)
        elif chance < habits.lunch_per_photo + habits.long_pause_per_photo:
            now += rng.lognormvariate(math.log(180), 0.8)
        else:
            now += 1 + rng.lognormvariate(math.log(phone.rhythm_s), 0.6)
    phone.last = (stop.north_m + off[0], stop.east_m + off[1])
    planned = stop.photos * 30.0
    return late + max(0.0, now - began - planned) if share == 1.0 else late


def _take(
    phone: _Phone,
    at_s: float,
    place: tuple[float, float] | None,
    error_m: float,
    deck: str,
    season: Season,
    *,
    timed: bool,
) -> None:
    phone.taken += 1
    key = f"{phone.name}{phone.taken}"
    moment = MORNING + timedelta(seconds=round(at_s + phone.wrong_s, 2))
    private = {}
    if place is not None:
        private = {
            "latitude": HOME[0] + place[0] * METER,
            "longitude": HOME[1] + place[1] * METER / math.cos(math.radians(HOME[0])),
            "position_error_m": max(4.0, error_m),
        }
    if phone.counter is None:
        name = f"{moment:%Y%m%d_%H%M%S}{phone.taken % 1000:03d}x.jpg"
    else:
        name = f"IMG_{(phone.counter + phone.taken) % 9999 + 1:04d}.jpg"
    time = moment.isoformat() + phone.zone if timed else None
    season.photos.append(sighting(key, f"heap/{name}", time, f"Invented Phone {phone.name}", private))
    season.truth[key] = deck
