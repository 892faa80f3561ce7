"""Made seasons: nothing is put at another house without a question, and the test would see it if it were."""

from __future__ import annotations

import random

from tests.simulated.walk_counts import Count, by_pause, by_radius, judge, ours
from tests.simulated.walk_seasons import DENSE, SCATTERED, SLOW, draw_season
from triage.ingest import walk
from triage.ingest.walk_model import Trust

SEASONS = 40


def seasons(habits, first=900_000, number=SEASONS):
    return [draw_season(random.Random(seed), habits) for seed in range(first, first + number)]


def total(counts) -> Count:
    found = Count()
    for one in counts:
        found.add(one)
    return found


def test_no_photo_is_put_with_another_house_without_a_question():
    for habits in (SCATTERED, DENSE, SLOW):
        count = total(ours(season) for season in seasons(habits))
        assert count.photos > 5000
        assert (count.merged, count.divided) == (0, 0), habits
        assert count.waiting < 0.25 * count.photos


def test_plain_rules_put_photos_with_another_house():
    made = seasons(SCATTERED, number=10)
    assert total(by_pause(season) for season in made).merged > 100
    assert total(by_radius(season) for season in made).merged > 10


def test_an_overconfident_model_is_caught(monkeypatch):
    careless = Trust(1.0, 0.5, 0.5)
    monkeypatch.setattr(walk, "NOTHING_SAID", careless)
    found = Count()
    for season in seasons(DENSE, number=20):
        sorting = walk.sort_by_walk(season.photos, trust=careless)
        found.add(judge(season, sorting.decks))
    assert found.merged > 20


def test_every_photo_is_placed_or_asked_about_once():
    for season in seasons(SLOW, number=10):
        sorting = walk.sort_by_walk(season.photos)
        asked = [key for doubt in sorting.doubts for key in doubt.keys]
        assert len(asked) == len(set(asked))
        assert set(asked).isdisjoint(sorting.decks)
        assert {*asked, *sorting.decks} == set(season.truth)
