"""Where it looked, measured small: by hand, and on invented photos with a sign in the cells and without."""

import sys
from dataclasses import replace

import numpy as np
import pytest

from tests.train.synthetic import make_world
from tools.bench import looked
from tools.bench.arrays import Set
from tools.bench.looked import covered, line, look, means, middle_box

TAG = "rusted-connector"


def as_set(world) -> Set:
    return Set(
        "invented",
        dict(world.photos),
        {TAG: {label.photo: label for label in world.labels}},
        world.vectors,
        {},
    )


def test_a_middle_box_has_the_area_that_was_asked_for_and_the_photos_middle():
    x, y, width, height = middle_box(0.09)
    assert (width, height) == pytest.approx((0.3, 0.3))
    assert (x + width / 2, y + height / 2) == pytest.approx((0.5, 0.5))


def test_covered_shares_by_hand():
    cells = np.array([[0.0, 0.0, 0.5, 1.0], [0.5, 0.0, 0.5, 1.0]])
    assert covered(cells, [(0.25, 0.0, 0.25, 1.0)]) == pytest.approx([0.5, 0.0])
    assert covered(cells, [(0.25, 0.5, 0.5, 0.5)]) == pytest.approx([0.25, 0.25])
    assert covered(cells, [(0.0, 0.0, 1.0, 1.0), (0.0, 0.0, 0.5, 1.0)]) == pytest.approx([1.0, 1.0])


def test_a_sign_in_the_cells_is_pointed_at_far_better_than_the_middle():
    data = as_set(make_world(decks=14, photos=4, cell_strength=5.0, seed=6))
    found = look(data, TAG, 0)
    hit, difference, mass = means(found, "hit", "hit-middle_hit", "mass-middle_mass")
    assert hit[0] > 0.8
    assert difference[1] > 0.3
    assert mass[1] > 0.2
    assert "| invented |" in line("invented", TAG, "with boxes", found)


def test_without_a_sign_nothing_is_pointed_at_beyond_chance():
    """Boxes stand anywhere and the cells say nothing: the measure must not flatter."""
    data = as_set(make_world(decks=24, photos=4, cell_strength=0.0, seed=7))
    found = [one for seed in range(3) for one in look(data, TAG, seed)]
    hit, chance = means(found, "hit", "chance")
    assert chance[0] == pytest.approx(6 / 80, abs=0.005)
    assert hit[1] <= chance[0] + 0.06
    (mass,) = means(found, "mass-chance")
    assert mass[1] < 0.03


def test_a_point_counts_as_the_cell_that_holds_it():
    world = make_world(decks=12, photos=4, cell_strength=5.0, seed=8)
    labels = {one.photo: one for one in world.labels}
    points = {
        sha: replace(one, boxes=tuple((x + w / 2, y + h / 2, 0.0, 0.0) for x, y, w, h in one.boxes))
        for sha, one in labels.items()
    }
    found = look(replace(as_set(world), labels={TAG: points}), TAG, 1)
    (chance, middle) = means(found, "chance", "middle_mass")
    assert chance[0] == pytest.approx(1 / 80)
    assert np.isfinite(middle[0])


def test_models_without_boxes_are_measured_on_the_same_photos():
    data = as_set(make_world(decks=12, photos=4, cell_strength=5.0, seed=8))
    with_boxes, without = look(data, TAG, 1), look(data, TAG, 1, boxed=0)
    assert [one.chance for one in with_boxes] == [one.chance for one in without]
    assert np.mean([one.hit for one in without]) <= np.mean([one.hit for one in with_boxes])


def test_the_table_is_printed(monkeypatch, capsys):
    data = as_set(make_world(decks=12, photos=4, cell_strength=5.0, seed=8))
    monkeypatch.setattr(looked, "load_set", lambda *_: data)
    monkeypatch.setattr(sys, "argv", ["looked", "--sets", "invented", "--boxed", "0", "4", "--seeds", "1"])
    looked.main()
    ways = [row.split("|")[3].strip() for row in capsys.readouterr().out.splitlines()[2:]]
    assert ways == ["all boxes", "0 boxed photos", "4 boxed photos"]
