"""The measures of realism measure what they say, on pictures whose answer is known."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

FILE = Path(__file__).resolve().parents[2] / "tools" / "bench" / "realism.py"
spec = importlib.util.spec_from_file_location("realism", FILE)
assert spec is not None
assert spec.loader is not None
realism = importlib.util.module_from_spec(spec)
sys.modules["realism"] = realism
spec.loader.exec_module(realism)


@pytest.mark.parametrize("slope", [-1.0, -2.0, -3.0])
def test_the_slope_of_a_made_spectrum_is_found(slope: float) -> None:
    rng, n = np.random.default_rng(3), 512
    fy, fx = np.meshgrid(np.fft.fftfreq(n), np.fft.fftfreq(n), indexing="ij")
    radius = np.hypot(fx, fy)
    radius[0, 0] = 1
    picture = np.fft.ifft2(np.fft.fft2(rng.normal(size=(n, n))) * radius ** (slope / 2)).real
    assert realism.spectrum_slope(picture) == pytest.approx(slope, abs=0.15)


def test_noise_of_known_size_is_found() -> None:
    rng = np.random.default_rng(3)
    picture = 0.5 + rng.normal(0, 4 / 255, (512, 512))
    found = realism.noise(picture)
    assert 0.8 * 4 < found <= 4  # the flattest tenth of the cells is below their mean
    assert realism.noise(0.5 + 2 * (picture - 0.5)) == pytest.approx(2 * found, rel=0.01)


def test_blur_is_less_sharp_and_grey_has_no_colour() -> None:
    import cv2

    rng = np.random.default_rng(3)
    picture = rng.random((256, 256)).astype(np.float32)
    assert realism.sharpness(cv2.GaussianBlur(picture, (0, 0), 2)) < 0.2 * realism.sharpness(picture)
    assert realism.color_spread(np.repeat(picture[..., None], 3, -1)) < 0.1
    assert realism.color_spread(rng.random((64, 64, 3)).astype(np.float32)) > 20


def test_a_set_compared_with_itself_lies_inside_its_own_range(tmp_path: Path) -> None:
    import cv2

    rng = np.random.default_rng(3)
    for i in range(12):
        coarse = rng.integers(0, 255, (30, 40, 3)).astype(np.uint8)
        cv2.imwrite(str(tmp_path / f"{i}.jpg"), cv2.resize(coarse, (640, 480), interpolation=cv2.INTER_CUBIC))
    paths = realism.sample(tmp_path, 12)
    result = realism.compare(paths, paths)
    assert all(result[name]["share_inside"] >= 0.8 for name in realism.MEASURES)
