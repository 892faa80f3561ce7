"""The geometric check: a plane seen again is found where it is, and nothing where there is none."""

import cv2
import numpy as np
import pytest

from triage.matching.points import agreement, points_of

ASKEW = ((0.1, 0.05), (0.95, 0.12), (0.9, 0.9), (0.15, 0.98))


def test_a_wall_seen_askew_and_darker_agrees_where_it_is(seen_from):
    one, _ = seen_from("one.png")
    other, plane = seen_from("other.png", ASKEW, darker=0.6)
    found = agreement(points_of(one), points_of(other))
    assert found.beyond_chance > 30
    at = np.array([[[0.3, 0.4], [0.7, 0.6]]])
    told = cv2.perspectiveTransform(at, found.plane)
    true = cv2.perspectiveTransform(at * [800, 600], plane) / [800, 600]
    assert told == pytest.approx(true, abs=0.005)


def test_the_same_two_photos_give_the_same_answer(seen_from):
    one, other = points_of(seen_from("one.png")[0]), points_of(seen_from("other.png", ASKEW)[0])
    first, again = agreement(one, other), agreement(one, other)
    assert (first.in_plane, first.in_scene) == (again.in_plane, again.in_scene)


def test_unrelated_pictures_agree_by_chance_only(seen_from):
    rng = np.random.default_rng(9)
    noise = cv2.GaussianBlur(rng.integers(0, 255, (600, 800), dtype=np.uint8), (0, 0), 2)
    one, other = seen_from("one.png")[0], seen_from("other.png", source=noise)[0]
    assert agreement(points_of(one), points_of(other)).beyond_chance == 0


def test_plain_and_unreadable_pictures_have_no_points(tmp_path, seen_from):
    plain = tmp_path / "plain.png"
    cv2.imwrite(str(plain), np.full((600, 800), 128, np.uint8))
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"no picture")
    for path in (plain, broken):
        assert len(points_of(path).xy) == 0
        assert agreement(points_of(path), points_of(seen_from("one.png")[0])).matches == 0
