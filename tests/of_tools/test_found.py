"""Defects found in the first photos, measured small: the measure by hand, its laws, an invented library."""

import numpy as np
import pytest

from tests.train.synthetic import make_world
from tools.bench.arrays import Set
from tools.bench.found import FIRST, found, line, run, table

TAG = "rusted-connector"


def test_shares_by_hand():
    """Ten photos by the key, defects on four of them: 1, 2, 2 of the 4 in the first 1, 2, 3 photos."""
    key = np.arange(10, 0, -1)
    defects = np.array([1, 1, 0, 0, 1, 0, 0, 0, 0, 1])
    assert found(key, defects, np.ones(10)) == pytest.approx([0.25, 0.5, 0.5])


def test_a_limit_within_a_photo_takes_a_part_of_it():
    defects = np.array([1, 0, 0, 0, 0])
    assert found(np.arange(5, 0, -1), defects, np.ones(5)) == pytest.approx([0.5, 1.0, 1.0])


def test_photos_of_one_key_are_as_good_as_random():
    defects = np.random.default_rng(0).integers(0, 3, 50)
    assert found(np.zeros(50), defects, np.ones(50)) == pytest.approx(FIRST)


def test_counting_a_photo_twice_is_having_it_twice():
    rng = np.random.default_rng(1)
    key, defects, times = rng.random(12), rng.integers(0, 2, 12), rng.integers(0, 4, 12)
    twice = found(np.repeat(key, times), np.repeat(defects, times), np.ones(times.sum()))
    assert found(key, defects, times.astype(float)) == pytest.approx(twice)


@pytest.fixture(scope="module")
def runs():
    world = make_world(decks=30, photos=4, strength=1.0, seed=9)
    places = np.random.default_rng(3).permutation(len(world.photos))
    taken = {sha: f"{place:04d}" for (sha, _), place in zip(world.photos, places, strict=True)}
    labels = {TAG: {label.photo: label for label in world.labels}}
    data = Set("invented", dict(world.photos), labels, world.vectors, taken)
    return [run(data, (TAG,), seed, 12) for seed in range(4)]


def test_presort_finds_far_more_than_the_camera_and_never_more_than_the_best(runs):
    rows = table(runs)
    assert np.all(rows["presort"][0] <= rows["best"][0] + 1e-9)
    assert np.all(rows["presort"][1] > rows["camera"][0])
    assert rows["camera"][0] == pytest.approx(FIRST, abs=0.12)
    assert line("invented", TAG, runs).count("|") == 8


def test_new_decks_are_not_those_that_were_labeled(runs):
    for one in runs:
        assert 0 < len(set(one.decks)) <= 15
