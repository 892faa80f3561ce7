"""Statistics of training and presorting against published values and reference packages."""

import numpy as np
import pytest

from triage.presort.shift import simes
from triage.train import calibrate, measures
from triage.train.promise import decks_needed, make_promise, threshold


def test_average_precision_of_scikit_learns_example():
    """scikit-learn, average_precision_score, example (read): y 0 0 1 1, s .1 .4 .35 .8 gives 0.83 = 5/6."""
    scores, labels = np.array([0.1, 0.4, 0.35, 0.8]), np.array([0.0, 0.0, 1.0, 1.0])
    assert float(measures.average_precision(scores, labels)) == pytest.approx(0.8333, abs=5e-5)


def test_roc_auc_of_scikit_learns_example():
    """scikit-learn, roc_auc_score, the same example (memory, calculation agrees): 0.75."""
    scores, labels = np.array([0.1, 0.4, 0.35, 0.8]), np.array([0.0, 0.0, 1.0, 1.0])
    assert float(measures.roc_auc(scores, labels)) == pytest.approx(0.75, abs=5e-3)


def test_brier_score_of_scikit_learns_example():
    """scikit-learn, brier_score_loss, example (memory, calculation agrees): 0.037."""
    labels, chance = np.array([0.0, 1.0, 1.0, 0.0]), np.array([0.1, 0.9, 0.8, 0.3])
    assert float(measures.brier(chance, labels)) == pytest.approx(0.037, abs=5e-4)


@pytest.mark.parametrize(("miss_rate", "decks"), [(0.10, 9), (0.05, 19), (0.02, 49)])
def test_decks_that_conformal_risk_control_needs(miss_rate, decks):
    """arXiv 2208.02814: n/(n + 1) R + B/(n + 1) <= alpha, with R = 0 and B = 1."""
    assert decks_needed(miss_rate) == decks
    assert make_promise([np.array([0.0])] * decks, miss_rate).holds
    assert not make_promise([np.array([0.0])] * (decks - 1), miss_rate).holds


def test_platts_targets():
    """Platt (1999), section 2.1 (memory): (N+ + 1)/(N+ + 2) and 1/(N- + 2)."""
    targets = calibrate.platt_targets(np.array([1.0] * 3 + [0.0] * 8))
    assert targets[0] == pytest.approx(4 / 5)
    assert targets[-1] == pytest.approx(1 / 10)


def test_platts_fit_is_scikit_learns():
    """scikit-learn's calibration with the sigmoid method is Platt's with the same targets."""
    from sklearn.calibration import _sigmoid_calibration

    rng = np.random.default_rng(0)
    labels = (rng.random(80) < 0.4).astype(float)
    raw = rng.normal(size=80) + 1.5 * labels
    slope, offset = _sigmoid_calibration(raw, labels)
    ours = calibrate.apply(calibrate.fit_platt(raw, labels), raw)
    np.testing.assert_allclose(ours, 1 / (1 + np.exp(slope * raw + offset)), atol=2e-3)


def test_beta_calibration_keeps_probabilities_that_mean_what_they_say():
    """Kull, Silva Filho, Flach (2017): the family holds the identity, unlike Platt's on probabilities."""
    rng = np.random.default_rng(1)
    raw = rng.normal(size=20_000) * 2
    labels = (rng.random(20_000) < 1 / (1 + np.exp(-raw))).astype(float)
    said = calibrate.apply(calibrate.fit_beta(raw, labels), raw)
    assert np.abs(said - 1 / (1 + np.exp(-raw))).max() < 0.02


def test_simes_on_worked_numbers():
    """Simes (1986): min of p_(i) m / i; for .01 .02 .03 .5 that is .04 (calculation)."""
    assert simes([0.5, 0.03, 0.01, 0.02]) == pytest.approx(0.04)
    assert simes([0.05]) == pytest.approx(0.05)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("miss_rate", [0.1, 0.2])
def test_the_threshold_is_mapies(seed, miss_rate):
    """MAPIE's conformal risk control of recall: decks as samples, their positive photos as labels.

    MAPIE tries given thresholds and keeps scores above; between two scores both count the same losses.
    """
    risk_control = pytest.importorskip("mapie.risk_control")
    rng = np.random.default_rng(seed)
    n, most = 25, 5
    counts = rng.integers(1, most + 1, n)
    scores = np.clip(rng.beta(3, 2, (n, 1)) * 0.7 + rng.random((n, most)) * 0.3, 0.001, 0.999)
    shown = (np.arange(most) < counts[:, None]).astype(int)
    distinct = np.unique(np.concatenate([scores[shown == 1], [0.0]]))
    between = (distinct[:-1] + distinct[1:]) / 2
    controller = risk_control.MultiLabelClassificationController(
        lambda rows: scores,
        risk="recall",
        method="crc",
        target_level=1 - miss_rate,
        predict_params=between,
    )
    controller.calibrate(np.zeros((n, 1)), shown)
    theirs = float(controller.best_predict_param[0])
    ours = threshold([scores[d, : counts[d]] for d in range(n)], miss_rate)
    assert ours == pytest.approx(distinct[np.searchsorted(distinct, theirs)])


@pytest.mark.filterwarnings("ignore")
def test_isotonic_probabilities_lie_between_those_of_venn_abers():
    """Vovk, Petej, Fedorova (arXiv 1511.00213): p0 and p1 are isotonic fits with the score counted absent
    and present, so the fit without it lies between. Reference package: venn-abers.
    """
    reference = pytest.importorskip("venn_abers")
    rng = np.random.default_rng(2)
    labels = (rng.random(600) < 0.4).astype(float)
    raw = rng.normal(size=600) + 1.5 * labels
    chance = 1 / (1 + np.exp(-raw))
    fitted = reference.VennAbers()
    fitted.fit(np.column_stack([1 - chance, chance]), labels.astype(int))
    _, bounds = fitted.predict_proba(np.column_stack([1 - chance, chance]))
    said = calibrate.apply(calibrate.fit_isotonic(raw, labels), raw)
    slack = 1 / (len(raw) + 2) + 1e-9
    assert np.all(said >= bounds[:, 0] - slack)
    assert np.all(said <= bounds[:, 1] + slack)
