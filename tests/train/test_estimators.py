"""Estimators of our own keep scikit-learn's conventions and are its logistic regression."""

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.utils.estimator_checks import parametrize_with_checks

from triage.train.estimators import BalancedLogistic


@pytest.mark.filterwarnings("ignore")  # scikit-learn's own checks warn on purpose
@parametrize_with_checks([BalancedLogistic(), BalancedLogistic(C=1.0)])
def test_scikit_learns_checks(estimator, check):
    check(estimator)


def test_it_is_scikit_learns_balanced_fit_moved_by_the_prior():
    rng = np.random.default_rng(0)
    rows, labels = rng.normal(size=(90, 6)), np.repeat([1, 0], [20, 70])
    rows[labels == 1, 0] += 1
    ours = BalancedLogistic(C=1.0).fit(rows, labels)
    theirs = LogisticRegression(C=1.0, class_weight="balanced", tol=1e-10).fit(rows, labels)
    np.testing.assert_allclose(ours.coef_, theirs.coef_, atol=1e-5)
    assert ours.intercept_[0] - theirs.intercept_[0] == pytest.approx(np.log(20.5 / 70.5), abs=1e-5)
    assert ours.predict_proba(rows)[:, 1].mean() == pytest.approx(20 / 90, abs=0.03)
