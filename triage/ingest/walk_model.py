"""How likely two runs of photos show two different decks: the model of a day's walk, written down.

Between two photos of one phone either nothing happened (same deck) or the person went on: to another deck of
the same house, to a neighbor's, or away by car. Each has its own chance, its own usual pause and its own
distance. What is seen (pause, distance between the measured positions, their error) is weighed by Bayes'
rule. A position may be off: an outlier, or that of the stop before. Every number is here and common practice
unless a source is given; `tools/bench/run walks` measures what they lead to.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

HOUSE_M = 5.0
"""How far the standing places of one deck's photos scatter (standard deviation, meters)."""
SAME_WEIGHT = 0.90
LONG_PAUSE_WEIGHT, LONG_PAUSE_S, LONG_PAUSE_SPREAD = 0.03, 180.0, 1.0
"""Share, middle and log-spread of pauses at one deck in which people talk, measure or fetch a ladder."""
BREAK_WEIGHT, BREAK_S, BREAK_SPREAD = 0.002, 2400.0, 0.5
"""The same for a lunch in the middle of a deck."""
RHYTHM_S, RHYTHM_SPREAD = 12.0, 0.8
"""Usual seconds between photos at one deck, where the photos themselves do not tell, and the log-spread."""
OUTLIER_WEIGHT, OUTLIER_TIMES = (0.05, 0.03, 0.006), 6.0
"""Chance that the middle of 1, 2, or more positions is off, by so many times its error (urban multipath)."""
LAG_WEIGHT = 0.02
"""Chance that a run of positions is that of an earlier place."""
OTHER_PHONE_WEIGHT = 0.02
"""Chance that photos of one make without a serial are of two phones."""
NEAREST = 0.7
"""Distances below this share of the scatter say no more than it: two positions hardly ever coincide."""
FAR_FROM_M, FAR_TO_M = 50.0, 80_000.0
WALK_M_S, DRIVE_M_S, PARK_S = 1.5, 14.0, 240.0
PAUSE_ALONE_AT_MOST = 0.97
"""However long a pause is, it alone does not make two decks of one."""
CONFLICT_S, CONFLICT_M, CONFLICT_LEAST = 45.0, 20.0, 0.02
"""After such a pause, photos so far apart (in addition to 4 times the scatter) are never certainly one deck:
a position may be that of an earlier place, or the photo was taken on the way."""
FASTEST_M_S = 70.0
"""No car goes faster: positions that ask for more are not both right."""


@dataclass(frozen=True)
class Move:
    """A way of going on: its chance at each photo, its pause (seconds, log-spread), its distance (meters)."""

    weight: float
    pause_s: float
    pause_spread: float
    from_m: float
    to_m: float


SAME_HOUSE = Move(0.004, 170.0, 0.5, 4.0, 30.0)
NEXT_DOOR = Move(0.012, 220.0, 0.6, 5.0, 70.0)
NEXT_DOOR_LATE = Move(0.003, 1500.0, 1.0, 4.0, 70.0)
"""The next deck or house after lunch, a call or a wait for its owner."""
DRIVE_WEIGHT, DRIVE_PAUSE_S, DRIVE_SPREAD = 0.09, 1500.0, 0.9


@dataclass(frozen=True)
class Trust:
    """How much a folder's name says: the odds of 'different' are multiplied by `odds`.

    Below `same` two runs are taken as one deck, above `other` as two; between them a person is asked.
    """

    odds: float
    same: float
    other: float


NOTHING_SAID = Trust(1.0, 0.006, 0.98)
"""The folder's name says nothing (a camera's folder, a day): time and place alone decide."""
FLAT_FOLDER = Trust(0.05, 0.3, 0.98)
"""Photos right in the folder that was given: its name may be a deck's or a batch's."""
DECK_FOLDER = Trust(0.025, 0.3, 1.1)
"""A folder that a person named: it is never split without a question."""


@dataclass(frozen=True)
class Evidence:
    """What is known of two runs: pause and distance (null where not known), errors, how many positions."""

    pause_s: float | None
    apart_m: float | None
    error_m: float = 0.0
    positions: int = 0
    rhythm_s: float = RHYTHM_S
    one_phone: bool = True
    """Whether it is certain that one phone took both."""


def chance_of_two_decks(seen: Evidence, trust: Trust = NOTHING_SAID) -> float:
    """Return the probability that two neighboring runs of one phone show two decks."""
    if seen.pause_s is None:
        return chance_without_order(seen.apart_m, seen.error_m, seen.positions, trust)
    pause = max(seen.pause_s, 1.0)
    stayed = SAME_WEIGHT * _pause_at_one_deck(pause, seen.rhythm_s)
    if seen.apart_m is None:
        left = sum(move.weight * _log_normal(pause, move.pause_s, move.pause_spread) for move in _NEAR)
        left += DRIVE_WEIGHT * _log_normal(pause, DRIVE_PAUSE_S, DRIVE_SPREAD)
        return min(_trusted(left, stayed, trust), PAUSE_ALONE_AT_MOST)
    scatter = math.hypot(seen.error_m, HOUSE_M)
    apart = max(seen.apart_m, NEAREST * scatter)
    same_place = _same_place(apart, scatter, seen.positions)
    far = _log_uniform(apart, FAR_FROM_M, FAR_TO_M)
    stayed *= same_place + LAG_WEIGHT * far
    left = sum(
        move.weight * _log_normal(pause, move.pause_s, move.pause_spread) * _near(apart, move, scatter)
        for move in _NEAR
    )
    left += DRIVE_WEIGHT * far * _drive(pause, apart)
    if not seen.one_phone:
        left += OTHER_PHONE_WEIGHT * far * _pause_at_one_deck(pause, seen.rhythm_s)
    chance = _trusted(left, stayed, trust)
    if pause >= CONFLICT_S and apart > CONFLICT_M + 4 * scatter:
        return max(chance, CONFLICT_LEAST)
    return chance


def chance_without_order(
    apart_m: float | None, error_m: float, positions: int, trust: Trust = NOTHING_SAID
) -> float:
    """Return the probability of two decks where the pause tells nothing: other phones, a return, no times.

    Never so small that two runs become one without a question, unless a folder speaks for it.
    """
    if apart_m is None:
        return _trusted(0.75, 0.25, trust)
    scatter = math.hypot(error_m, HOUSE_M)
    apart = max(apart_m, NEAREST * scatter)
    stayed = 0.5 * (
        _same_place(apart, scatter, positions) + LAG_WEIGHT * _log_uniform(apart, FAR_FROM_M, FAR_TO_M)
    )
    left = 0.1 * sum(_near(apart, move, scatter) for move in _NEAR)
    left += 2.0 * _log_uniform(apart, FAR_FROM_M, FAR_TO_M)
    return max(_trusted(left, stayed, trust), 0.02 * min(1.0, trust.odds * 10))


_NEAR = (SAME_HOUSE, NEXT_DOOR, NEXT_DOOR_LATE)


def _trusted(left: float, stayed: float, trust: Trust) -> float:
    left *= trust.odds
    return left / (left + stayed) if left + stayed > 0 else 0.5


def _pause_at_one_deck(pause_s: float, rhythm_s: float) -> float:
    usual = 1 - LONG_PAUSE_WEIGHT - BREAK_WEIGHT
    return (
        usual * _log_normal(pause_s, rhythm_s, RHYTHM_SPREAD)
        + LONG_PAUSE_WEIGHT * _log_normal(pause_s, LONG_PAUSE_S, LONG_PAUSE_SPREAD)
        + BREAK_WEIGHT * _log_normal(pause_s, BREAK_S, BREAK_SPREAD)
    )


def _drive(pause_s: float, apart_m: float) -> float:
    """The density of a pause for a drive or a longer walk over a distance; next to nothing where too fast."""
    usual = min(apart_m / WALK_M_S, apart_m / DRIVE_M_S + PARK_S)
    dense = 0.5 * _log_normal(pause_s, usual + 60, 0.7) + 0.5 * _log_normal(pause_s, usual + 1200, 0.9)
    return dense if apart_m / pause_s < FASTEST_M_S else dense * 1e-9


def _same_place(apart_m: float, scatter_m: float, positions: int) -> float:
    off = OUTLIER_WEIGHT[min(max(positions, 1), len(OUTLIER_WEIGHT)) - 1]
    return (1 - off) * _rayleigh(apart_m, scatter_m) + off * _rayleigh(apart_m, OUTLIER_TIMES * scatter_m)


def _near(apart_m: float, move: Move, scatter_m: float) -> float:
    """The density of a measured distance where the true one is anywhere in a move's range."""
    inside = _upper(apart_m, move.to_m, scatter_m) - _upper(apart_m, move.from_m, scatter_m)
    return max(inside, 1e-12) / (move.to_m - move.from_m)


def _upper(value: float, edge: float, spread: float) -> float:
    return 0.5 * (1 + math.erf((edge - value) / (spread * math.sqrt(2))))


def _log_normal(value: float, middle: float, spread: float) -> float:
    z = (math.log(value) - math.log(middle)) / spread
    return math.exp(-0.5 * z * z) / (value * spread * math.sqrt(2 * math.pi))


def _rayleigh(value: float, scale: float) -> float:
    return value / scale**2 * math.exp(-0.5 * (value / scale) ** 2)


def _log_uniform(value: float, low: float, high: float) -> float:
    return 1 / (value * math.log(high / low)) if low <= value else 0.0
