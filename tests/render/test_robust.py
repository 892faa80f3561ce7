"""The sweeps change what they say they change, and nothing at the first level."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

FILE = Path(__file__).resolve().parents[2] / "tools" / "bench" / "robust.py"
spec = importlib.util.spec_from_file_location("robust", FILE)
assert spec is not None
assert spec.loader is not None
robust = importlib.util.module_from_spec(spec)
sys.modules["robust"] = robust
spec.loader.exec_module(robust)


def picture() -> np.ndarray:
    return np.random.default_rng(2).integers(20, 200, (60, 80, 3)).astype(np.uint8)


@pytest.mark.parametrize("name", ["blur", "light", "distance", "angle"])
def test_the_first_level_leaves_the_photo_alone(name: str) -> None:
    _, levels, change = robust.SWEEPS[name]
    assert np.abs(change(picture(), levels[0]).astype(int) - picture()).max() <= 1


def test_one_stop_doubles_linear_light() -> None:
    # sRGB (IEC 61966-2-1): code 128 is linear 0.2158; twice that, 0.4316, is 0.6883 * 255 = 175.5 (by hand).
    assert robust.relit(np.full((2, 2, 3), 128, np.uint8), 1.0)[0, 0, 0] == pytest.approx(175.5, abs=0.6)


def test_farther_has_fewer_pixels_and_an_angle_keeps_the_middle() -> None:
    assert robust.farther(picture(), 2).shape == (30, 40, 3)
    smooth = robust.blurred(picture(), 6)
    assert np.abs(robust.turned(smooth, 30)[30, 40].astype(int) - smooth[30, 40]).max() <= 4
    assert np.abs(robust.turned(smooth, 45).astype(int) - smooth).mean() > 1


def test_the_area_is_that_of_a_known_case() -> None:
    # scikit-learn's example: y 0 0 1 1, s .1 .4 .35 .8 gives 0.75.
    assert robust.area(np.array([0.1, 0.4, 0.35, 0.8]), np.array([0, 0, 1, 1])) == 0.75
    assert robust.area(np.array([0.1, 0.4]), np.array([1, 1])) is None
