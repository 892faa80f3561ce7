"""Bounds over decks: their level by simulation, and the pooled variant that must be caught."""

from __future__ import annotations

import numpy as np
import pytest
from long_runs import cases

from triage.audit.deck_losses import mean_bounds, ratio_bounds, shown_above, shown_within

RUNS = cases(300, 1000)


def losses(draw: np.random.Generator, decks: int, mean: float, kind: str) -> tuple[np.ndarray, np.ndarray]:
    """Losses of decks with a given mean, and how many photos with the defect each deck has."""
    photos = draw.integers(1, 5, decks)
    if kind == "all or nothing":
        return (draw.random(decks) < mean).astype(float), photos
    if kind == "large decks are hard":  # a tenth of the decks hold most photos and all losses
        large = draw.random(decks) < 0.10
        photos = np.where(large, 40, photos)
        return np.where(large, draw.beta(mean * 20, (1 - mean * 10) * 2, decks), 0.0), photos
    return draw.binomial(photos, mean) / photos, photos


KINDS = ("all or nothing", "large decks are hard", "photo by photo")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("decks", [20, 80])
def test_neither_verdict_is_wrong_in_more_than_one_of_twenty(kind: str, decks: int) -> None:
    """At the promise itself: 'above' is wrong there, and 'within' just beyond it."""
    draw = np.random.default_rng(11)
    kept, broken = 0, 0
    for _ in range(RUNS):
        kept += shown_above(losses(draw, decks, 0.055, kind)[0], 0.055, 0.95)
        broken += shown_within(losses(draw, decks, 0.0551, kind)[0], 0.055, 0.95)
    assert kept <= 0.05 * RUNS
    assert broken <= 0.05 * RUNS


def test_photos_pooled_over_decks_contradict_kept_promises_and_are_caught() -> None:
    """The variant of before: the share of all photos against the promise, with the binomial's error."""
    from scipy import stats

    draw = np.random.default_rng(12)
    wrong = 0
    for _ in range(RUNS):
        lost, photos = losses(draw, 40, 0.055, "large decks are hard")
        missed = draw.binomial(photos, lost).sum()
        wrong += stats.binom.sf(missed - 1, photos.sum(), 0.055) < 0.05
    assert wrong > 0.15 * RUNS


def test_both_verdicts_come_when_they_are_due() -> None:
    assert shown_within(np.zeros(75), 0.05, 0.95)
    assert not shown_within(np.zeros(58), 0.05, 0.95)  # 59 decks is the exact binomial's least
    assert shown_above(np.array([1.0] * 6 + [0.0] * 14), 0.05, 0.95)
    assert not shown_above(np.array([1.0] + [0.0] * 14), 0.05, 0.95)


def test_intervals_cover() -> None:
    draw = np.random.default_rng(13)
    inside = inside_ratio = 0
    for _ in range(RUNS // 3):
        lost, _ = losses(draw, 40, 0.2, "all or nothing")
        low, high = mean_bounds(lost, lost)
        inside += low <= 0.2 <= high
        size = draw.integers(1, 9, 40)
        found = draw.binomial(size, 0.1)
        low, high = ratio_bounds(found, found, size, 8)
        inside_ratio += low <= 0.1 <= high
    assert inside >= 0.95 * (RUNS // 3)
    assert inside_ratio >= 0.95 * (RUNS // 3)
