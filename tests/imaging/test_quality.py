"""Quality numbers mean what they say: against scikit-image, and blur, noise and light added by hand."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import skimage.data
import skimage.measure

from triage.imaging.quality import (
    _edge_energy,
    exposure_stops,
    luma,
    measure_quality,
    nail_head_px,
    noise_level,
)

PHOTOS = ["coffee", "chelsea", "astronaut"]


def photo(name: str) -> np.ndarray:
    return np.asarray(getattr(skimage.data, name)())


def blur_effect(gray: np.ndarray) -> float:
    """The blur effect of a whole picture, from the edges that the product takes tile by tile."""
    inside = (slice(2, gray.shape[0] - 1), slice(2, gray.shape[1] - 1))
    energies = (_edge_energy(gray, axis) for axis in (0, 1))
    return max(1 - lost[inside].sum(dtype=float) / sharp[inside].sum(dtype=float) for sharp, lost in energies)


@pytest.mark.parametrize("name", PHOTOS)
@pytest.mark.parametrize("sigma_px", [0, 2])
def test_blur_effect_equals_scikit_image(name: str, sigma_px: float) -> None:
    gray = luma(photo(name))
    if sigma_px:
        gray = cv2.GaussianBlur(gray, None, sigma_px)
    # skimage.measure.blur_effect 0.22+, after Crete et al. 2007
    reference = skimage.measure.blur_effect(gray.astype(float), h_size=11, channel_axis=None)
    assert blur_effect(gray) == pytest.approx(reference, abs=0.01)


@pytest.mark.parametrize("name", PHOTOS)
def test_more_blur_is_never_sharper_and_strong_blur_is_flagged(name: str) -> None:
    rgb = photo(name)
    seen = [measure_quality(cv2.GaussianBlur(rgb, None, s) if s else rgb, 4000) for s in (0, 1, 2, 4, 6)]
    blurs = [float(quality["blur"]) for quality in seen]
    assert blurs == sorted(blurs)
    assert not seen[0]["blurred"]
    assert not seen[1]["blurred"]
    assert seen[-1]["blurred"]


def test_a_blurred_background_does_not_count() -> None:
    rgb = photo("coffee")
    behind = cv2.GaussianBlur(rgb, None, 8)
    behind[150:300, 200:400] = rgb[150:300, 200:400]
    assert not measure_quality(behind, 4000)["blurred"]


@pytest.mark.parametrize(("level", "stops"), [(118, 0.0), (255, 2.474), (0, -10.0)])
def test_exposure_by_the_srgb_curve(level: int, stops: float) -> None:
    # IEC 61966-2-1: 118/255 is 18.1 % linear; 100 % lies log2(1/0.18) = 2.474 stops above middle gray
    assert exposure_stops(np.full((9, 9), level, np.uint8)) == pytest.approx(stops, abs=0.02)


@pytest.mark.parametrize("stops", [1, 2, 4])
def test_a_stop_less_light_is_a_stop_less(stops: int) -> None:
    value = 0.18 / 2**stops
    encoded = 1.055 * value ** (1 / 2.4) - 0.055 if value > 0.0031308 else 12.92 * value
    gray = np.full((9, 9), round(encoded * 255), np.uint8)
    assert exposure_stops(gray) == pytest.approx(-stops, abs=0.1)


def test_a_photo_four_stops_darker_is_dark() -> None:
    rgb = photo("coffee")
    linear = (rgb / 255.0) ** 2.2 / 16
    darker = (linear ** (1 / 2.2) * 255).round().astype(np.uint8)
    assert not measure_quality(rgb, 4000)["dark"]
    assert measure_quality(darker, 4000)["dark"]


@pytest.mark.parametrize("sigma", [2.0, 5.0, 10.0])
def test_added_noise_is_measured(sigma: float) -> None:
    calm = np.full((400, 600), 128.0) + np.linspace(-40, 40, 600)
    noisy = (
        (calm + np.random.default_rng(3).normal(0, sigma, calm.shape)).round().clip(0, 255).astype(np.uint8)
    )
    assert noise_level(noisy) == pytest.approx(sigma, rel=0.1)


def test_nail_head_by_hand() -> None:
    # pinhole: 36 mm / 26 mm * 600 mm = 830.8 mm wide; 4000 px / 830.8 mm * 8.7 mm = 41.9 px
    assert nail_head_px(4000, None, None) == pytest.approx(41.9, abs=0.05)
    assert nail_head_px(4000, 6.0, 26) == pytest.approx(4.19, abs=0.01)
    assert measure_quality(photo("coffee"), 4000, 6.0, 26)["far"]
    assert not measure_quality(photo("coffee"), 4000, 2.0, 26)["far"]


@pytest.mark.parametrize("shape", [(1, 1, 3), (1, 900, 3), (17, 5, 3), (40, 40, 3)])
def test_tiny_and_odd_photos_have_numbers(shape: tuple[int, int, int]) -> None:
    quality = measure_quality(np.full(shape, 90, np.uint8), max(shape))
    assert all(np.isfinite(value) for value in quality.values())
