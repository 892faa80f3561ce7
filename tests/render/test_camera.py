"""Where points fall in the picture, and that the id image is bent as the photo is."""

import cv2
import numpy as np
import pytest
from deckscene.camera import Camera

CAMERA = Camera((0.2, 1.5, 1.0), (0.4, 0.0, 1.2), 1024, 768, 64.0, roll_deg=3.0, distortion=0.015)


def test_axes_are_orthonormal_and_right_handed() -> None:
    axes = CAMERA.axes()
    assert np.allclose(axes @ axes.T, np.eye(3))
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_the_target_is_in_the_middle() -> None:
    pixel, depth = CAMERA.project(np.array([CAMERA.target]))
    assert pixel[0] == pytest.approx([511.5, 383.5], abs=1e-6)
    assert depth[0] == pytest.approx(CAMERA.focus_m)


def test_without_distortion_it_is_the_pinhole_of_opencv() -> None:
    # Reference: cv2.projectPoints with the same pose.
    camera = Camera(CAMERA.eye, CAMERA.target, 1024, 768, 64.0, 3.0, distortion=0.0)
    points = np.array([[0.1, 0.0, 1.0], [0.9, 0.2, 1.5], [0.4, 0.5, 0.9]])
    flip = np.diag([1.0, -1.0, -1.0]) @ camera.axes()
    focal = 512 / np.tan(np.radians(32))
    matrix = np.array([[focal, 0, 511.5], [0, focal, 383.5], [0, 0, 1]])
    rotation, _ = cv2.Rodrigues(flip)
    wanted, _ = cv2.projectPoints(points, rotation, -flip @ np.array(camera.eye), matrix, None)
    assert np.allclose(camera.project(points)[0], wanted.reshape(-1, 2), atol=1e-6)


def test_points_land_where_the_bent_id_image_shows_them() -> None:
    points = np.array([[-0.2, 0.0, 0.9], [1.1, 0.0, 1.6], [-0.3, 0.0, 1.6], [0.5, 0.0, 0.8]])
    ideal = Camera(CAMERA.eye, CAMERA.target, 1024, 768, 64.0, 3.0, distortion=0.0).project(points)[0]
    ids = np.zeros((768, 1024), np.int32)
    for i, (x, y) in enumerate(ideal):
        cv2.circle(ids, (int(round(x)), int(round(y))), 4, i + 1, -1)
    bent = CAMERA.bend_ids(ids)
    assert set(np.unique(bent)) <= set(range(5))  # no id is invented between two others
    for i, (x, y) in enumerate(CAMERA.project(points)[0]):
        where = np.argwhere(bent == i + 1).mean(0)
        assert where == pytest.approx([y, x], abs=1.0)
    assert np.abs(CAMERA.project(points)[0] - ideal).max() > 1  # the distortion is not nothing


def test_behind_the_camera_is_told_by_depth() -> None:
    assert CAMERA.project(np.array([[0.0, 5.0, 1.0]]))[1][0] < 0
