"""The whole-photo classifier as a scikit-learn estimator, for use outside the line.

The line itself calls `fit_dual` on inner products that many fits share; this is the same fit.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import expit
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets, type_of_target
from sklearn.utils.validation import _check_sample_weight, check_is_fitted, validate_data

from triage.train.linear import balanced, fit_dual, prior_shift

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


class BalancedLogistic(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Logistic regression with balanced classes whose scores carry the prior of the labels again.

    Parameters
    ----------
    C : strength of the data against the penalty.

    Attributes
    ----------
    classes_ : (2,) the classes, the second being scored.
    coef_ : (1, d), intercept_ : (1,).
    """

    def __init__(self, C: float = 100.0) -> None:
        self.C = C

    def fit(self, X: ArrayLike, y: ArrayLike, sample_weight: ArrayLike | None = None) -> BalancedLogistic:
        """Fit on rows X (n, d) with labels y (n,) of two classes and weights (n,).

        Raises
        ------
        ValueError : not two classes, or input that scikit-learn's checks refuse.
        """
        rows: NDArray[np.float64]
        given: NDArray[Any]
        rows, given = validate_data(self, X, y, dtype=np.float64)
        check_classification_targets(given)
        kind = type_of_target(given, input_name="y", raise_unknown=True)
        if kind != "binary":
            raise ValueError(f"Only binary classification is supported. The type of the target is {kind}.")
        self.classes_, codes = np.unique(given, return_inverse=True)
        if len(self.classes_) < 2:
            raise ValueError("Classifier can't train when only one class is present.")
        weights: NDArray[np.float64] = _check_sample_weight(
            sample_weight, rows, dtype=np.float64, ensure_non_negative=True
        )
        used = weights > 0
        rows, targets, weights = rows[used], codes[used].astype(float), weights[used]
        if targets.min() == targets.max():
            raise ValueError("Classifier can't train when only one class has weight.")
        duals, bias = fit_dual(rows @ rows.T, targets, balanced(targets, weights), self.C, tolerance=1e-10)
        self.coef_ = (duals @ rows)[None, :]
        self.intercept_ = np.array([bias + prior_shift(targets, weights)])
        return self

    def decision_function(self, X: ArrayLike) -> NDArray[np.float64]:
        """Log odds (n,) of the second class."""
        check_is_fitted(self)
        rows: NDArray[np.float64] = validate_data(self, X, reset=False, dtype=np.float64)
        return np.asarray(rows @ self.coef_[0] + self.intercept_[0])

    def predict_proba(self, X: ArrayLike) -> NDArray[np.float64]:
        """Probabilities (n, 2) of the two classes."""
        chance = expit(self.decision_function(X))
        return np.column_stack([1 - chance, chance])

    def predict(self, X: ArrayLike) -> NDArray[Any]:
        """The more probable class of each row, (n,)."""
        second = (self.decision_function(X) > 0).astype(int)
        return np.asarray(self.classes_[second])

    def __sklearn_tags__(self) -> Any:
        """Say to scikit-learn that two classes are all it can do."""
        tags = super().__sklearn_tags__()
        tags.classifier_tags.multi_class = False
        return tags
