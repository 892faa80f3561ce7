"""The homography of a card against scikit-image's estimator, and the fitted plane against both.

Outside: skimage.transform.ProjectiveTransform (direct linear transform, scikit-image), on the same corners.
"""

from __future__ import annotations

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform

from triage.slate.layout import LAYOUTS, Layout
from triage.slate.markers import Marker, SidePoints, _wanted_points
from triage.slate.plane import GAP_MM, _pose, fit_plane, frame_of
from triage.slate.read import card_homography

SIZE = (4032, 3024)


def true_homography(rng: np.random.Generator) -> np.ndarray:
    """Card mm to pixels of a 26 mm camera without distortion, to 55 degrees off square, 0.6 to 2.5 m away."""
    focal = 26 / 36 * SIZE[0]
    a, b, c = rng.uniform(-0.9, 0.9), rng.uniform(-0.3, 0.3), rng.uniform(-0.4, 0.4)
    turn = _about(1, a) @ _about(0, b) @ _about(2, c)
    place = np.array([rng.uniform(-200, 200), rng.uniform(-100, 100), rng.uniform(600, 2500)])
    lens = np.array([[focal, 0, (SIZE[0] - 1) / 2], [0, focal, (SIZE[1] - 1) / 2], [0, 0, 1]])
    return lens @ np.column_stack([turn[:, 0], turn[:, 1], place])


def _about(axis: int, angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    turn = np.eye(3)
    turn[i, i] = turn[j, j] = c
    turn[i, j], turn[j, i] = -s, s
    return turn


def mapped(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    seen = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return seen[:, :2] / seen[:, 2:]


def seen_markers(
    layout: Layout, matrix: np.ndarray, rng: np.random.Generator, noise_px: float
) -> list[Marker]:
    return [
        Marker(layout, 3, place, mapped(matrix, corners) + rng.normal(0, noise_px, (4, 2)))
        for place, corners in enumerate(layout.marker_corners)
    ]


def by_skimage(layout: Layout, markers: list[Marker]) -> np.ndarray:
    flat = layout.marker_corners.reshape(-1, 2)
    return np.asarray(
        ProjectiveTransform.from_estimate(flat, np.vstack([one.corners for one in markers])).params
    )


FAR = np.array([(-600.0, -80), (-300, 60), (0, 0), (300, -60), (600, 80)])


@pytest.mark.parametrize("paper", sorted(LAYOUTS))
@pytest.mark.parametrize("seed", range(8))
def test_exact_corners_give_the_same_homography_as_scikit_image(paper: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    true = true_homography(rng)
    markers = seen_markers(LAYOUTS[paper], true, rng, 0.0)
    ours, theirs = card_homography(markers), by_skimage(LAYOUTS[paper], markers)
    assert mapped(ours, FAR) == pytest.approx(mapped(theirs, FAR), abs=0.01)
    assert mapped(ours, FAR) == pytest.approx(mapped(true, FAR), abs=0.01)


def test_noisy_corners_are_fitted_no_worse_than_by_scikit_image() -> None:
    """Corners off by 0.3 px: errors 600 mm from the card's middle, root mean square over 40 views."""
    errors: dict[str, list[float]] = {"ours": [], "theirs": []}
    for seed in range(40):
        rng = np.random.default_rng(seed)
        true = true_homography(rng)
        markers = seen_markers(LAYOUTS["letter"], true, rng, 0.3)
        for name, matrix in (
            ("ours", card_homography(markers)),
            ("theirs", by_skimage(LAYOUTS["letter"], markers)),
        ):
            errors[name].append(float(np.linalg.norm(mapped(matrix, FAR) - mapped(true, FAR), axis=1).max()))
    ours, theirs = (float(np.sqrt(np.mean(np.square(errors[name])))) for name in ("ours", "theirs"))
    assert ours < 1.05 * theirs


@pytest.mark.parametrize("seed", range(6))
def test_lengths_of_the_fitted_plane_are_those_of_scikit_image(seed: int) -> None:
    """Exact sides of a flat card: lengths up to 4 ft agree to a thousandth, the stand-off gap allowed for."""
    rng = np.random.default_rng(seed)
    layout = LAYOUTS["letter"]
    true = true_homography(rng)
    markers = seen_markers(layout, true, rng, 0.0)
    card, outward, pixels, normals, _ = _wanted_points(markers)
    sides = SidePoints(card, outward, mapped(true, card), normals)
    fit = fit_plane(layout, markers, sides, frame_of(*SIZE, 26))
    assert np.abs(pixels - mapped(true, card)).max() < 1.5
    theirs = mapped(np.linalg.inv(by_skimage(layout, markers)), mapped(true, FAR))
    ours = fit.to_plane(mapped(true, FAR))
    gap = 1 + GAP_MM / np.linalg.norm(_pose(fit.values)[1])
    lengths = [np.linalg.norm(np.diff(points, axis=0), axis=1) for points in (ours, theirs)]
    assert lengths[0] == pytest.approx(lengths[1] * gap, rel=1.5e-3)
