"""Which map from score to probability: the richer one only where its gain is beyond chance."""

from __future__ import annotations

import numpy as np
import pytest

from triage.train.calibrate import BETA_FROM, choose, cross_fit, fit_beta, fit_platt


def drawn(seed: int, skewed: bool, decks: int = 40, photos: int = 10):
    """Left-out scores, labels, folds and decks; a logistic is right unless the scores are skewed."""
    draw = np.random.default_rng(seed)
    raw = draw.normal(0, 1.5, decks * photos)
    chance = 1 / (1 + np.exp(-raw))
    labels = (draw.random(len(raw)) < chance).astype(float)
    if skewed:  # two laws glued together at 0: no one slope fits
        raw = np.where(raw > 0, raw * 6, raw / 4)
    deck = np.repeat(np.arange(decks), photos)
    return raw, labels, deck % 5, deck


def losses(fit, raw, labels, folds):
    chance = np.clip(cross_fit(fit, raw, labels, folds), 1e-6, 1 - 1e-6)
    return -np.where(labels > 0.5, np.log(chance), np.log1p(-chance))


@pytest.mark.parametrize("skewed", [False, True])
def test_the_richer_map_is_chosen_only_beyond_one_standard_error_over_decks(skewed: bool) -> None:
    """The rule, counted again: a gain that decks alone would give by chance changes nothing."""
    small_gains = chosen = 0
    for seed in range(30):
        raw, labels, folds, decks = drawn(seed, skewed)
        assert labels.sum() >= BETA_FROM
        gain = np.bincount(
            decks, losses(fit_platt, raw, labels, folds) - losses(fit_beta, raw, labels, folds)
        )
        beyond = gain.sum() > gain.std() * np.sqrt(len(gain))
        small_gains += bool(gain.sum() > 0 and not beyond)
        assert choose(raw, labels, folds, decks).kind == ("beta" if beyond else "platt")
        chosen += bool(beyond)
    assert small_gains > 0, "no draw tells a small gain from none"
    assert chosen > 0 or not skewed, "no draw has a gain beyond chance"
