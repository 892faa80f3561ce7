"""Sorting by a day's plan: stays near one stop, and no other, are that stop's; the plan names the rest.

A plan is a person's word on which decks there are. It decides only where the measured place leaves no choice;
where stops lie side by side, have several decks, or have no position, its names are proposals.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from triage.ingest.plan import Plan, Stop
from triage.ingest.sightings import Sighting, at_deck, clock_seconds, without_copied_times
from triage.ingest.stays import Run, meters
from triage.ingest.walk import Doubt, Sorting, Why, runs_of, sort_by_walk, surely_one_deck
from triage.ingest.walk_model import FLAT_FOLDER

AT_STOP_M = 60.0
"""A stay lies at a stop when it is at most so far from it (a house with its yard; common practice), beside
the position's own error."""
CLEAR_M = 60.0
"""And every other stop is at least so much farther away."""
IN_TIME_S = 5400.0
"""A stay may be a stop's when it began at most so long before or after the planned time."""


@dataclass
class _Stay:
    run: Run
    stop: Stop | None = None


def sort_by_plan(
    photos: Sequence[Sighting],
    plan: Plan,
    *,
    taken: Collection[str] = (),
    middles: Mapping[str, tuple[float, float, float]] | None = None,
) -> tuple[Sorting, list[dict[str, Any]]]:
    """Sort photos to the plan's stops, or ask.

    Returns also the stops without photos and the decks without a stop.
    """
    given = without_copied_times(photos)
    stays = [_Stay(run, _stop_at(run, plan)) for run in runs_of(given)]
    sure: dict[str, str] = {}
    for stop in plan.stops:
        here = [one.run for one in stays if one.stop is stop]
        if stop.decks == 1 and here and surely_one_deck(here, FLAT_FOLDER):
            sure.update({photo.key: stop.name for run in here for photo in run.photos})
    known = [at_deck(one, sure[one.key]) if one.key in sure and one.deck is None else one for one in given]
    names = {name for stop in plan.stops for name in stop.deck_names}
    rest = sort_by_walk(known, taken={*taken, *names}, middles=_others(middles or {}, names))
    found = _named(rest, known, plan)
    found.decks.update({key: deck for key, deck in sure.items()})
    return found, _said(found, plan)


def _others(
    middles: Mapping[str, tuple[float, float, float]], names: Collection[str]
) -> dict[str, tuple[float, float, float]]:
    return {deck: middle for deck, middle in middles.items() if deck not in names}


def _stop_at(run: Run, plan: Plan) -> Stop | None:
    """Return the stop at which a run was taken; null where none, or more than one, is possible."""
    located = run.located()
    if located is None:
        return None
    apart = sorted(
        ((meters(located[0], stop.place), stop) for stop in plan.stops if stop.place is not None),
        key=lambda pair: pair[0],
    )
    if not apart or apart[0][0] > AT_STOP_M + 2 * located[1]:
        return None
    if len(apart) > 1 and apart[1][0] < apart[0][0] + CLEAR_M:
        return None
    return apart[0][1]


def _named(rest: Sorting, photos: Sequence[Sighting], plan: Plan) -> Sorting:
    """Return the sorting with the plan's names as proposals for what time and place made out alone."""
    by_key = {one.key: one for one in photos}
    used = {one.deck for one in photos if one.deck}
    found = Sorting(boundaries=rest.boundaries)
    groups: dict[str, list[str]] = {}
    for key, deck in rest.decks.items():
        groups.setdefault(deck, []).append(key)
    for deck, keys in groups.items():
        name = deck if deck in used else _nearest_name([by_key[key] for key in keys], plan, used)
        if name is None or name == deck:
            found.decks.update(dict.fromkeys(keys, deck))
        else:
            used.add(name)
            found.doubts.append(Doubt(Why.PLAN, tuple(keys), 0.5, name))
    for doubt in rest.doubts:
        name = (
            None if doubt.proposal in used else _nearest_name([by_key[key] for key in doubt.keys], plan, used)
        )
        if name is not None:
            used.add(name)
        found.doubts.append(replace(doubt, proposal=name) if name else doubt)
    return found


def _nearest_name(photos: Sequence[Sighting], plan: Plan, used: Collection[str | None]) -> str | None:
    """Return the free deck name of the stop that fits a stay best: by place, else by the planned time."""
    best: tuple[float, str] | None = None
    located = Run(0, list(photos), [one for one in photos if one.place]).located()
    began = min((one.clock_s for one in photos if one.clock_s is not None), default=None)
    for stop in plan.stops:
        free = next((name for name in stop.deck_names if name not in used), None)
        if free is None:
            continue
        score = None
        if located is not None and stop.place is not None:
            apart = meters(located[0], stop.place)
            score = apart / AT_STOP_M if apart <= AT_STOP_M + 2 * located[1] else None
        elif began is not None and stop.time is not None:
            late = abs(began - clock_seconds(stop.time))
            score = 1 + late / IN_TIME_S if late <= IN_TIME_S else None
        if score is not None and (best is None or score < best[0]):
            best = (score, free)
    return best[1] if best else None


def _said(found: Sorting, plan: Plan) -> list[dict[str, Any]]:
    decks = set(found.decks.values()) | {one.proposal for one in found.doubts}
    names = {name for stop in plan.stops for name in stop.deck_names}
    said = [
        {
            "kind": "no-photos",
            "stop": stop.name,
            "decks": [name for name in stop.deck_names if name not in decks],
        }
        for stop in plan.stops
        if any(name not in decks for name in stop.deck_names)
    ]
    placed = set(found.decks.values())
    return said + [
        {"kind": "no-stop", "deck": deck, "photos": sum(1 for one in found.decks.values() if one == deck)}
        for deck in sorted(placed - names)
    ]
