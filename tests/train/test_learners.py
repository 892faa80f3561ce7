"""Laws of the learners: a leave-one-out model is the fit without its deck, boxes and bags find the place."""

import numpy as np
import pytest
from sklearn.linear_model import Ridge
from synthetic import make_world

from triage.train import blend, train_tags
from triage.train.cell_learner import CellLearner
from triage.train.cells import Shelf, cell_scores, inside, near, ranked_cells
from triage.train.fitting import RIDGE, Chooser, WholeLearner
from triage.train.measures import average_precision
from triage.train.table import build_table, draw

TAG = "rusted-connector"


def learners(world, uses=None):
    table = build_table(TAG, world.photos, world.labels)
    rows = np.stack([world.vectors_of(sha).whole for sha in table.shas])
    chooser = Chooser(table, 0)
    everything = np.ones(len(table.shas), bool)
    cells = CellLearner(table, Shelf(world.vectors_of), chooser, uses or [everything], 0)
    return table, rows, WholeLearner(table, rows, rows @ rows.T, chooser), cells


def test_a_guard_is_exactly_the_ridge_fit_on_the_other_decks():
    """Against scikit-learn's Ridge, fitted on the rest alone."""
    table, rows, whole, _ = learners(make_world(decks=8))
    deck = np.array(table.decks)
    uses = [deck != name for name in sorted(set(table.decks))]
    for use, (weights, bias) in zip(uses, whole.fit_each_without(uses), strict=True):
        theirs = Ridge(alpha=RIDGE, solver="cholesky").fit(
            rows[use].astype(float), 2 * table.targets[use] - 1
        )
        np.testing.assert_allclose(rows @ weights + bias, theirs.predict(rows.astype(float)), atol=2e-4)


def test_a_leave_one_out_model_knows_nothing_of_the_deck_that_it_leaves_out():
    """Photos and labels of the left-out deck may be anything: the model without it is the same."""
    one = make_world(decks=9, seed=2)
    other = make_world(decks=9, seed=2)
    gone = one.photos[0][1]
    rng = np.random.default_rng(0)
    for sha, deck in other.photos:
        if deck == gone:
            old = other.vectors[sha]
            other.vectors[sha] = type(old)(
                rng.permutation(old.whole),
                rng.permutation(old.cells),
                old.cell_scale,
                old.cell_offset,
                old.recipe_sha,
            )
    fits = []
    for world in (one, other):
        table = build_table(TAG, world.photos, world.labels)
        use = np.array(table.decks) != gone
        _, _, whole, cells = learners(world, [use])
        fits.append((whole.fit_each_without([use])[0], cells.fit(use)))
    for mine, theirs in zip(fits[0], fits[1], strict=True):
        np.testing.assert_allclose(mine[0], theirs[0], atol=1e-5)
        assert mine[1] == pytest.approx(theirs[1], abs=1e-5)


@pytest.mark.parametrize("boxes", [True, False])
def test_cells_alone_find_what_is_in_one_place_of_a_photo(boxes):
    how = {"strength": 0.0, "cell_strength": 3.0, "boxes": boxes}
    world, new = make_world(decks=20, **how), make_world(decks=10, seed=9, **how)
    _, _, _, cells = learners(world)
    weights, bias = cells.fit(np.ones(len(world.photos), bool))
    model = weights[None, :], np.array([bias])
    scores = np.array([cell_scores(new.vectors_of(sha), *model)[0] for sha, _ in new.photos])
    labels = np.array([float(label.value == "present") for label in new.labels])
    assert float(average_precision(scores, labels)) > 0.9


def test_cells_that_are_all_alike_are_left_out_of_the_blend():
    """Scores that differed by a millionth once swamped the whole-photo score."""
    rng = np.random.default_rng(1)
    labels = (np.arange(60) % 3 == 0).astype(float)
    whole, cells = labels * 2 + rng.normal(size=60), 5 + 1e-6 * rng.normal(size=60)
    joined = blend.choose(whole, cells, labels)
    assert joined == (0.0, 1.0, 0.0)
    np.testing.assert_array_equal(blend.join(joined, whole, cells), whole)


def test_a_photo_without_cells_takes_its_whole_score():
    whole, cells = np.array([1.0, 2.0]), np.array([np.nan, -np.inf])
    np.testing.assert_array_equal(blend.join((0.3, 0.5, 0.5), whole, cells), whole)


def test_the_blend_loses_at_most_a_hundredth_to_the_better_part_on_average():
    """20 seeds at 10 to 30 positives, the better part anything from all to nothing of the signal."""
    lost = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        strength = (2 * seed / 19, 2 - 2 * seed / 19)

        def scores(labels, rng=rng, strength=strength):
            return [labels * s + rng.normal(size=len(labels)) for s in strength]

        train, test = (np.repeat([1.0, 0.0], n) for n in ((10 + seed, 60), (300, 1200)))
        weights = blend.choose(*scores(train), train)
        whole, cells = scores(test)
        both = float(average_precision(blend.join(weights, whole, cells), test))
        lost.append(max(float(average_precision(part, test)) for part in (whole, cells)) - both)
    assert np.mean(lost) <= 0.01


def test_without_boxes_the_cells_count_only_where_left_out_scores_speak_for_them():
    rng = np.random.default_rng(4)
    labels = np.repeat([1.0, 0.0], [40, 120])
    noise, strong = rng.normal(size=160), labels * 4 + rng.normal(size=160)
    assert blend.choose(strong, noise, labels, boxed=0.0)[2] == 0
    weak = labels + rng.normal(size=160)
    assert blend.choose(weak, strong, labels, boxed=0.0)[1] < blend.choose(strong, weak, labels, boxed=0.0)[1]
    even = [labels * 2 + rng.normal(size=160) for _ in range(2)]
    assert blend.choose(*even, labels, boxed=1.0)[1] == pytest.approx(0.5, abs=0.15)


def test_points_and_tiny_boxes_mark_the_cell_that_holds_them():
    cells = make_world(decks=3).vectors["0000000000000000".ljust(64, "0")].cell_boxes()
    point = inside([(0.55, 0.5625, 0.0, 0.0)], cells)
    assert point.sum() == 1
    assert cells[point][0].tolist() == pytest.approx([0.5, 0.5, 0.1, 0.125])
    wide = near([(0.55, 0.5625, 0.0, 0.0)], cells)
    assert wide.sum() == 9
    assert (point & ~wide).sum() == 0


def test_a_photos_cells_are_drawn_by_its_hash_and_nested():
    allowed = np.ones(80, bool)
    few, many = ranked_cells("a", allowed, 5, 0), ranked_cells("a", allowed, 50, 0)
    assert few.tolist() == many[:5].tolist()
    assert ranked_cells("b", allowed, 5, 0).tolist() != few.tolist()
    assert draw(0, "a") == draw(0, "a")


def test_the_promise_says_how_many_negatives_it_spares():
    world = make_world(decks=60, photos=4, seed=6)
    model = train_tags(world.photos, world.labels, world.vectors_of, tags=[TAG])[TAG]
    assert model.promise.holds
    assert 0 < model.promise.spared <= 1
    assert model.leave_one_out is not None
    assert len(model.leave_one_out.blend) == model.promise.eligible_positive_decks
