"""Round things of a bolt's size are offered, near where they are, and never more than that."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.simulated import slate_views as sv
from triage.slate.bolts import LARGEST_IN, SMALLEST_IN, rectify, rounds
from triage.slate.card import Card
from triage.slate.measure import measurable

CARD = Card("3fa9c1d2", "D-17")
BOLTS_MM = [(-420.0, -50.0), (-300.0, 60.0), (220.0, -60.0), (330.0, 55.0), (440.0, -55.0), (560.0, 60.0)]


def ledger_with_bolts(wood: np.ndarray) -> np.ndarray:
    """Washers of 1-3/8 in with a darker hexagon, on the wood."""
    face = wood.copy()
    scale = sv.WOOD_PX_PER_MM
    for x, y in BOLTS_MM:
        middle = np.array([(x + 2600) * scale, (y + 2600) * scale])
        spot = tuple(round(float(one) * 16) for one in middle)
        cv2.circle(face, spot, round(17.5 * scale * 16), 0.62, -1, cv2.LINE_AA, 4)
        turn = np.radians(np.arange(6) * 60 + 10)
        hexagon = middle + 10.5 * scale * np.stack([np.cos(turn), np.sin(turn)], 1)
        cv2.fillPoly(face, [np.round(hexagon * 16).astype(np.int32)], 0.3, cv2.LINE_AA, 4)
    return face


@pytest.fixture(scope="module")
def scene(wood: np.ndarray) -> tuple[sv.View, np.ndarray]:
    rng = np.random.default_rng(2)
    camera = sv.draw_camera(rng, 1000.0, np.radians(30.0), np.array([60.0, 0.0]))
    view = sv.View(CARD.layout, CARD.check, CARD.text, camera, seed=2)
    face = ledger_with_bolts(wood)
    return view, sv.render(
        view, (0, 700, 4032, 2500), sv.card_texture(view.layout, view.check, view.text), face
    )


def _in_view(scene: tuple[sv.View, np.ndarray]) -> np.ndarray:
    view, photo = scene
    pixels = view.camera.project(np.array([[x, y, 0.0] for x, y in BOLTS_MM])) - [0, 700]
    return pixels[((pixels > 30) & (pixels < np.array(photo.shape[1::-1]) - 30)).all(axis=1)]


def test_bolts_are_offered_where_they_are(scene: tuple[sv.View, np.ndarray]) -> None:
    photo = scene[1]
    found = measurable(photo, 26)
    offered = rounds(photo, found)
    spots = np.array([[one.x, one.y] for one in offered]) * photo.shape[1::-1]
    wanted = _in_view(scene)
    assert len(wanted) >= 4
    nearest = [float(np.linalg.norm(spots - one, axis=1).min()) for one in wanted]
    per_in = np.linalg.norm(
        np.diff(found.to_photo(np.array([[5.0, 0], [6, 0]])) * photo.shape[1::-1], axis=0)
    )
    assert sum(one < 0.25 * per_in for one in nearest) >= len(wanted) - 1
    assert len(offered) <= 3 * len(wanted)
    assert all(SMALLEST_IN - 0.1 <= one.across_in <= LARGEST_IN + 0.1 for one in offered)


def test_bare_wood_offers_next_to_nothing(scene: tuple[sv.View, np.ndarray], wood: np.ndarray) -> None:
    view = scene[0]
    photo = sv.render(view, (0, 700, 4032, 2500), sv.card_texture(view.layout, view.check, view.text), wood)
    assert len(rounds(photo, measurable(photo, 26))) <= 2


def test_the_rectified_card_is_square_again(scene: tuple[sv.View, np.ndarray]) -> None:
    photo = scene[1]
    flat = rectify(photo, measurable(photo, 26))
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    corners, ids, _ = cv2.aruco.ArucoDetector(words).detectMarkers(flat.gray)
    assert ids is not None
    sides = [np.linalg.norm(quad[0] - np.roll(quad[0], 1, axis=0), axis=1) for quad in corners]
    assert np.array(sides) == pytest.approx(42 / 25.4 * flat.px_per_in, abs=2.0)
