"""Cells with their neighbors, bags, and answers that are not plain: laws, scipy's filter as reference."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import uniform_filter
from synthetic import CELL_DIM, GRID, make_world

from triage.train.bags import Bags
from triage.train.cell_learner import CellLearner
from triage.train.cells import (
    HIGHEST,
    Shelf,
    cell_rows,
    cell_scores,
    linear_maps,
    smooth,
    top_mean,
    with_neighbors,
)
from triage.train.fitting import Chooser
from triage.train.table import build_table
from triage.train.types import TrainingLabel

TAG = "rusted-connector"


@pytest.mark.parametrize("grid", [(8, 10), (1, 7), (5, 1), (1, 1), (2, 2)])
def test_neighbors_are_the_mean_that_scipy_gives_with_repeated_edges(grid):
    cells = np.random.default_rng(1).normal(size=(*grid, 3)).astype(np.float32)
    theirs = uniform_filter(cells, (3, 3, 1), mode="nearest").reshape(-1, 3)
    flat = cells.reshape(-1, 3)
    np.testing.assert_allclose(with_neighbors(flat, grid)[:, 3:], theirs, atol=1e-5)
    np.testing.assert_array_equal(with_neighbors(flat, grid)[:, :3], flat)
    np.testing.assert_allclose(smooth(flat.T, grid), theirs.T, atol=1e-5)


def test_scores_by_smoothing_are_those_of_cells_written_beside_their_neighbors():
    vectors = next(iter(make_world(decks=1).vectors.values()))
    weights = np.random.default_rng(0).normal(size=(3, 2 * CELL_DIM)).astype(np.float32)
    written = with_neighbors(vectors.cells_float(), GRID)
    np.testing.assert_allclose(
        linear_maps(vectors.cells_float(), GRID, weights), weights @ written.T, atol=1e-4
    )
    some = np.array([0, 9, 33, 79])
    np.testing.assert_allclose(cell_rows(vectors, some), written[some], atol=1e-5)


def test_a_model_of_cells_alone_still_scores_as_it_did():
    """Models that were stored before neighbors were read have weights half as wide."""
    vectors = next(iter(make_world(decks=1).vectors.values()))
    weights = np.random.default_rng(0).normal(size=(2, CELL_DIM)).astype(np.float32)
    np.testing.assert_allclose(
        cell_scores(vectors, weights, np.array([0.5, -1.0])),
        top_mean(weights @ vectors.cells_float().T) + [0.5, -1.0],
        atol=1e-5,
    )


def test_the_highest_cells_of_many_bags_are_those_of_each():
    world = make_world(decks=3, seed=4)
    turned = world.photos[2][0]
    old = world.vectors[turned]
    world.vectors[turned] = replace(old, cells=np.ascontiguousarray(old.cells.transpose(1, 0, 2)))
    shas = [sha for sha, _ in world.photos]
    weights = np.random.default_rng(2).normal(size=2 * CELL_DIM)
    bags = Bags(shas, range(6), Shelf(world.vectors_of))
    for place, rows in zip((5, 2, 0), bags.highest((5, 2, 0), weights), strict=True):
        vectors = world.vectors_of(shas[place])
        written = with_neighbors(vectors.cells_float(), vectors.grid)
        best = np.sort(written @ weights)[-HIGHEST:]
        np.testing.assert_allclose(np.sort(rows @ weights), best, atol=1e-4)
        assert bags.spread(place, 30).shape == (27, 2 * CELL_DIM)


def best_cell_chance(world, labels, sha):
    """Trained on some labels, the photo's score as a chance."""
    table = build_table(TAG, world.photos, labels)
    everything = np.ones(len(table.shas), bool)
    learner = CellLearner(table, Shelf(world.vectors_of), Chooser(table, 0), [everything], 0)
    weights, bias = learner.fit(everything)
    return float(1 / (1 + np.exp(-cell_scores(world.vectors_of(sha), weights[None], np.array([bias]))[0])))


@pytest.mark.parametrize("boxes", [True, False])
def test_unclear_and_disputed_draw_the_cells_between_present_and_absent(boxes):
    """Over six photos in turn: each answered in four ways, the rest of the library staying as it is."""
    world = make_world(decks=12, boxes=boxes, strength=0.0, cell_strength=1.2, seed=3)
    found = []
    for place in [k for k, label in enumerate(world.labels) if label.value == "present"][:6]:
        present = replace(world.labels[place], boxes=())
        half = replace(present, weight=0.5)
        ways = (
            [replace(present, value="absent")],
            [replace(present, value="unclear")],
            [half, replace(half, value="absent", by="ben")],
            [present],
        )
        rest = [*world.labels[:place], *world.labels[place + 1 :]]
        found.append([best_cell_chance(world, [*rest, *way], present.photo) for way in ways])
    absent, unclear, disputed, there = np.mean(found, axis=0)
    assert absent < unclear < there
    assert absent < disputed < there


def test_an_unclear_photo_with_a_box_teaches_half_of_its_place_and_no_other_place():
    world = make_world(decks=6)
    sha, deck = world.photos[0]
    box = (0.1, 0.125, 0.2, 0.25)
    rest = [label for label in world.labels if label.photo != sha]
    table = build_table(TAG, world.photos, [*rest, TrainingLabel(sha, TAG, "unclear", (box,))])
    everything = np.ones(len(table.shas), bool)
    learner = CellLearner(table, Shelf(world.vectors_of), Chooser(table, 0), [everything], 0)
    here = learner.photo == table.shas.index(sha)
    assert sorted(learner.targets[here]) == [0, 0, 0, 0, 1, 1, 1, 1]
    assert set(learner.weights[here]) == {0.25}
    assert deck in table.decks
