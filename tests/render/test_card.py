"""A card of bits stands where it was put, and its marker can be read from its ideal picture."""

import cv2
import numpy as np
import pytest
from deckscene.camera import Camera
from deckscene.card import stick
from deckscene.errors import RenderError
from deckscene.meshes import Scene


def test_corners_are_where_they_were_put() -> None:
    scene = Scene(1)
    corners = stick(scene, np.eye(4), (1.0, 0.05, 2.0), (-1, 0, 0), (0, 0, 1), 0.1)
    assert corners[2] == pytest.approx([0.9, 0.0506, 2.1])
    ink = next(p for p in scene.parts if p.material == "ink")
    assert sum(len(f) for f in ink.faces) == 4
    assert ink.vertices[:, 1].min() > 0.05


def test_a_marker_drawn_as_quads_is_read_back() -> None:
    # Reference reader: OpenCV's ArUco detector on the card drawn through the camera's own projection.
    marker = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), 7, 6)
    bits = np.pad(marker == 0, 1)
    scene = Scene(1)
    corners = stick(scene, bits, (0.1, 0.0, 1.0), (-1, 0, 0), (0, 0, 1), 0.2)
    camera = Camera((0.15, 0.6, 1.0), (0.0, 0.0, 1.1), 800, 600, distortion=0.0)
    picture = np.full((600, 800), 90, np.uint8)
    cv2.fillPoly(picture, [np.rint(camera.project(corners)[0]).astype(np.int32)], 230)
    ink = next(p for p in scene.parts if p.material == "ink")
    for quad in ink.faces[0]:
        cv2.fillPoly(picture, [np.rint(camera.project(ink.vertices[quad])[0]).astype(np.int32)], 10)
    _, ids, _ = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    ).detectMarkers(picture)
    assert ids is not None
    assert ids.ravel().tolist() == [7]


def test_what_is_no_card_is_refused() -> None:
    with pytest.raises(RenderError, match="matrix of bits"):
        stick(Scene(1), np.zeros(4), (0, 0, 0), (1, 0, 0), (0, 0, 1), 0.1)
    with pytest.raises(RenderError, match="square to each other"):
        stick(Scene(1), np.eye(3), (0, 0, 0), (1, 0, 0), (1, 0, 0), 0.1)
