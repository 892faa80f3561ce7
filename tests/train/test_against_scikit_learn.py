"""Fits and measures against scikit-learn, and the laws of the fits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import average_precision_score, brier_score_loss, roc_auc_score

from triage.train import measures
from triage.train.linear import balanced, fit_dual, fit_primal


def test_average_precision_of_the_published_example():
    """scikit-learn's documentation of average_precision_score: 0.83 (read), 5/6 by calculation."""
    scores, labels = np.array([0.1, 0.4, 0.35, 0.8]), np.array([0.0, 0.0, 1.0, 1.0])
    assert float(measures.average_precision(scores, labels)) == pytest.approx(0.8333, abs=5e-5)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 8), st.booleans()), min_size=2, max_size=40))
def test_measures_agree_with_scikit_learn_also_with_ties(rows):
    scores = np.array([score / 8 for score, _ in rows])
    labels = np.array([float(label) for _, label in rows])
    if labels.min() == labels.max():
        return
    assert float(measures.average_precision(scores, labels)) == pytest.approx(
        average_precision_score(labels, scores)
    )
    assert float(measures.roc_auc(scores, labels)) == pytest.approx(roc_auc_score(labels, scores))
    assert float(measures.brier(scores, labels)) == pytest.approx(brier_score_loss(labels, scores))


def test_the_parts_of_the_brier_score_add_up():
    draw = np.random.default_rng(1)
    chance = draw.random(400)
    labels = (draw.random(400) < chance).astype(float)
    reliability, resolution, uncertainty = measures.decompose_brier(chance, labels)
    # Murphy (1973): the parts add up to the score of the binned forecast, up to the spread within bins
    assert reliability - resolution + uncertainty == pytest.approx(
        float(measures.brier(chance, labels)), abs=0.01
    )


@pytest.mark.parametrize("c", [1.0, 100.0])
@pytest.mark.parametrize("separable", [False, True])
def test_both_fits_are_scikit_learns_logistic_regression(c, separable):
    draw = np.random.default_rng(2)
    rows = draw.normal(size=(60, 8))
    labels = (rows[:, 0] + (0 if separable else draw.normal(0, 1, 60)) > 0.3).astype(float)
    weights = balanced(labels, np.ones(60))
    theirs = LogisticRegression(C=c, tol=1e-10, max_iter=10_000).fit(rows, labels, sample_weight=weights)
    duals, bias = fit_dual(rows @ rows.T, labels, weights, c)
    np.testing.assert_allclose(duals @ rows, theirs.coef_[0], atol=2e-3)
    assert bias == pytest.approx(float(theirs.intercept_[0]), abs=2e-3)
    beta, bias = fit_primal(rows, labels, weights, c)
    np.testing.assert_allclose(beta, theirs.coef_[0], atol=2e-3)
    assert bias == pytest.approx(float(theirs.intercept_[0]), abs=2e-3)


def test_a_start_from_elsewhere_changes_nothing_where_every_row_is_fitted_well():
    """A separable fit warm-started from the fit on more rows: once its bias ran away to a million."""
    draw = np.random.default_rng(3)
    rows = draw.normal(size=(40, 200))
    labels = (np.arange(40) % 2).astype(float)
    gram, weights = rows @ rows.T, balanced(labels, np.ones(40))
    full, full_bias = fit_dual(gram, labels, weights)
    part = np.arange(30)
    cold = fit_dual(gram[np.ix_(part, part)], labels[part], weights[part])
    warm = fit_dual(gram[np.ix_(part, part)], labels[part], weights[part], start=(full[part], full_bias))
    np.testing.assert_allclose(warm[0] @ rows[part], cold[0] @ rows[part], atol=1e-2)
    assert warm[1] == pytest.approx(cold[1], abs=1e-2)
    assert abs(warm[1]) < 10


def test_turning_the_labels_turns_the_weights():
    draw = np.random.default_rng(4)
    rows, labels = draw.normal(size=(50, 5)), (draw.random(50) < 0.4).astype(float)
    one = fit_primal(rows, labels, balanced(labels, np.ones(50)))
    other = fit_primal(rows, 1 - labels, balanced(1 - labels, np.ones(50)))
    np.testing.assert_allclose(one[0], -other[0], atol=1e-5)
    assert one[1] == pytest.approx(-other[1], abs=1e-5)


def test_scores_that_tell_nothing_give_the_share_and_keep_their_order():
    from triage.train.calibrate import apply, fit_platt

    raw = np.linspace(-3, 3, 40)
    labels = (np.arange(40) % 4 != 0).astype(float)
    labels[-12:] = 0.0  # the highest scores are the negatives: what was left out contradicts the score
    chance = apply(fit_platt(raw, labels), raw)
    assert np.all(np.diff(chance) > 0)
    assert np.ptp(chance) < 0.06
    assert chance.mean() == pytest.approx(labels.mean(), abs=0.03)
