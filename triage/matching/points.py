"""Local features of a photo and the geometric check between two photos of maybe one place.

Features are SIFT (D. G. Lowe, Distinctive image features from scale-invariant keypoints, IJCV 60, 2004) on
a gray picture whose contrast is evened out, with descriptors compared by the Hellinger distance
(R. Arandjelovic and A. Zisserman, CVPR 2012) and Lowe's ratio test. Matches are checked by one plane
(homography) and by one rigid scene (fundamental matrix), both with MAGSAC++
(D. Barath and others, CVPR 2020).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

LONG_SIDE_PX = 1024
MOST_POINTS = 2500
RATIO = 0.8
PLANE_PX, SCENE_PX = 4.0, 2.0
PLANE_BY_CHANCE, SCENE_BY_CHANCE = 7, 13
"""So many matches of unrelated photos fit a plane or a scene by chance; `tools/bench/run places --long`
counts them on photos of different decks."""
LARGEST_TURN = 8.0
"""A plane seen again is neither mirrored nor larger or smaller than this factor."""


@dataclass(frozen=True, eq=False)
class Points:
    """Local features of one photo.

    Attributes
    ----------
    xy : (n, 2) float32, pixels of the picture that was read.
    descriptors : (n, 128) float32, square roots of the normalized histograms; Euclidean distance compares.
    size : (width, height) of that picture in pixels.
    """

    xy: NDArray[np.float32]
    descriptors: NDArray[np.float32]
    size: tuple[int, int]


@dataclass(frozen=True, eq=False)
class Agreement:
    """How far two photos agree in their points.

    Attributes
    ----------
    matches : points that look alike in both.
    in_plane : those of them that one plane explains.
    in_scene : those that one rigid scene seen from two places explains.
    plane : (3, 3) homography from the first to the second in fractions of both photos, or null.
    """

    matches: int = 0
    in_plane: int = 0
    in_scene: int = 0
    plane: NDArray[np.float64] | None = None

    @property
    def beyond_chance(self) -> int:
        """Points in agreement beyond what unrelated photos reach; 0 says nothing either way."""
        return max(self.in_plane - PLANE_BY_CHANCE, self.in_scene - SCENE_BY_CHANCE, 0)


def no_points(size: tuple[int, int] = (1, 1)) -> Points:
    """Return the features of a picture that has none."""
    return Points(np.empty((0, 2), np.float32), np.empty((0, 128), np.float32), size)


def points_of(path: Path) -> Points:
    """Read the local features of an upright picture; a plain or unreadable one has none."""
    import cv2

    gray = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if gray is None:
        return no_points()
    share = LONG_SIDE_PX / max(gray.shape)
    if share < 1:
        gray = cv2.resize(gray, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    even = cv2.createCLAHE(clipLimit=2.0, tileGridSize=(8, 8)).apply(gray)
    sift: Any = cv2.SIFT.create(nfeatures=MOST_POINTS, contrastThreshold=0.02)
    found, raw = sift.detectAndCompute(even, None)
    size = (even.shape[1], even.shape[0])
    if raw is None:
        return no_points(size)
    descriptors = np.sqrt(raw / np.maximum(raw.sum(axis=1, keepdims=True), 1e-9))
    xy = np.array([point.pt for point in found], np.float32)
    return Points(xy, descriptors.astype(np.float32), size)


def agreement(one: Points, other: Points) -> Agreement:
    """Match two photos' points and check them; the same two give the same answer every time."""
    first, second = _matched(one, other)
    if len(first) < 8:
        return Agreement(len(first))
    import cv2

    cv2.setRNGSeed(0)
    found, in_plane = cv2.findHomography(
        first, second, cv2.USAC_MAGSAC, PLANE_PX, maxIters=5000, confidence=0.999
    )
    plane = None if found is None else np.asarray(found, np.float64)
    _, in_scene = cv2.findFundamentalMat(first, second, cv2.USAC_MAGSAC, SCENE_PX, 0.999, 5000)
    count = 0
    if plane is not None and _possible(plane, first[in_plane.ravel() > 0]):
        count = int(in_plane.sum())
    return Agreement(
        matches=len(first),
        in_plane=count,
        in_scene=0 if in_scene is None else int(in_scene.sum()),
        plane=_in_fractions(plane, one.size, other.size) if plane is not None and count else None,
    )


def _matched(one: Points, other: Points) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return (m, 2) and (m, 2): points of both that pass the ratio test, each used once."""
    none = np.empty((0, 2), np.float32)
    if len(one.xy) < 2 or len(other.xy) < 2:
        return none, none
    likeness = one.descriptors @ other.descriptors.T  # unit vectors: distance**2 = 2 - 2 likeness
    best = likeness.argmax(axis=1)
    rows = np.arange(len(best))
    top = likeness[rows, best]
    likeness[rows, best] = -1.0
    second = likeness.max(axis=1)
    good = np.flatnonzero(1 - top < RATIO**2 * (1 - second))
    order = good[np.argsort(-top[good], kind="stable")]
    _, unique = np.unique(best[order], return_index=True)
    kept = order[np.sort(unique)]
    return one.xy[kept], other.xy[best[kept]]


def _possible(plane: NDArray[np.float64], at: NDArray[np.float32]) -> bool:
    """Return whether a plane seen again could look so: not mirrored, not vastly larger or smaller."""
    if len(at) == 0:
        return False
    x, y = at.mean(axis=0)
    w = plane[2] @ np.array([x, y, 1.0])
    u, v = (plane[:2] @ np.array([x, y, 1.0])) / w
    turn = (plane[:2, :2] - np.outer([u, v], plane[2, :2])) / w
    growth = float(np.linalg.det(turn))
    return bool(1 / LARGEST_TURN**2 < growth < LARGEST_TURN**2)


def _in_fractions(
    plane: NDArray[np.float64], one: tuple[int, int], other: tuple[int, int]
) -> NDArray[np.float64]:
    result: NDArray[np.float64] = np.diag([1 / other[0], 1 / other[1], 1.0]) @ plane @ np.diag([*one, 1.0])
    return result
