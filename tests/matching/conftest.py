"""Made pictures of one place from two stands."""

from __future__ import annotations

import numpy as np
import pytest


@pytest.fixture(scope="session")
def wall() -> np.ndarray:
    """A wall with boards, knots and heads: (600, 800) gray, the same every time."""
    import cv2

    rng = np.random.default_rng(3)
    picture = cv2.resize(rng.integers(90, 150, (60, 8), dtype=np.uint8), (800, 600))
    for _ in range(220):
        x, y = rng.integers(0, (800, 600))
        picture = cv2.ellipse(
            picture,
            (int(x), int(y)),
            tuple(int(v) for v in rng.integers(3, 22, 2)),
            float(rng.uniform(0, 180)),
            0,
            360,
            int(rng.integers(20, 235)),
            -1,
        )
    return picture


@pytest.fixture
def seen_from(wall, tmp_path):
    """Return a function that writes the wall as another stand sees it: by corners, in fractions."""
    import cv2

    def make(name, corners=((0, 0), (1, 0), (1, 1), (0, 1)), *, darker=1.0, source=None):
        picture = wall if source is None else source
        height, width = picture.shape
        flat = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
        plane = cv2.getPerspectiveTransform(flat, np.float32(corners) * np.float32([width, height]))
        seen = cv2.warpPerspective(picture, plane, (width, height), borderValue=110)
        noise = np.random.default_rng(len(name)).normal(0, 4, seen.shape)
        path = tmp_path / name
        cv2.imwrite(str(path), np.clip(seen * darker + noise, 0, 255).astype(np.uint8))
        return path, plane

    return make
