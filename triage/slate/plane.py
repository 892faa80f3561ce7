"""The plane behind a card: camera, bend of the paper and their uncertainty, fitted to the markers' sides.

Model: a pinhole camera with its middle near the picture's and two terms of radial distortion looks at paper
that is bent a little (a quadratic surface, lengths along the paper kept to third order) and lies before a
plane that it touches. Everything that the photo does not tell (focal length without EXIF, distortion,
bend) has a prior with a width, so that what stays unknown widens the interval instead of vanishing.

Coordinates of the plane: mm, origin behind the middle of the card, x right and y down as on the card.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from triage.slate.layout import Layout
from triage.slate.markers import Marker, SidePoints

Floats = NDArray[np.float64]

FULL_FRAME_MM = 36.0
"""Long side of the 35 mm film frame that equivalent focal lengths refer to (Exif 2.32, tag 0xA405)."""
USUAL_FOCAL_MM = 27.0
"""Where EXIF is silent: the usual main camera of a phone (common practice)."""
FOCAL_SD_KNOWN, FOCAL_SD_UNKNOWN = 0.02, 0.35
DISTORTION_SD, DISTORTION4_SD = 0.015, 0.005
MIDDLE_SD = 0.004
"""Of the optical middle, as a fraction of the focal length."""
BLEED_SD_MM_PER_PX = 0.25
BEND_SD_PER_M = 0.6
STRETCH_SD_PER_M2 = 0.03
"""Paper bends about one axis only; how far the two bends may depart from that."""
RULED_OUT = 12.0
"""A pose whose sum of squares is larger by this much is ruled out (chi-square, one pose against another)."""
GAP_MM, GAP_SD_MM = 0.8, 0.7
"""How far a taped or held card stands off the plane where it touches it."""
SIDE_SD_PX, SIDE_SD_WEIGHT = 0.12, 5.0
"""What the error of a side's point is before the photo has spoken, and how many points that is worth."""
SMALL_CELL_PX2 = 0.6
"""Error shared by the points of a marker whose cells are small and run together, px, times cell size squared
(found on made views that are not those of the bench)."""
PARAMETERS = 15
FREE_PARAMETERS = 9
"""How many of them the points themselves tell (the rest stays near its prior)."""


@dataclass(frozen=True)
class Frame:
    """Size of the upright picture in pixels and what is known of its focal length.

    `corner` is where a part that was cut out of the whole picture begins: pixels are then the part's.
    """

    width: int
    height: int
    focal_px: float
    focal_sd: float
    corner: tuple[int, int] = (0, 0)

    @property
    def middle(self) -> Floats:
        """The whole picture's middle in pixels."""
        return np.array([(self.width - 1) / 2, (self.height - 1) / 2]) - self.corner


def frame_of(width: int, height: int, focal_35mm: float | None) -> Frame:
    """Return the frame of a picture; `focal_35mm` is EXIF's FocalLengthIn35mmFilm or null."""
    known = focal_35mm is not None and focal_35mm > 0
    focal = float(focal_35mm or 0) if known else USUAL_FOCAL_MM
    focal_px = focal / FULL_FRAME_MM * max(width, height)
    return Frame(width, height, focal_px, FOCAL_SD_KNOWN if known else FOCAL_SD_UNKNOWN)


@dataclass(frozen=True)
class PlaneFit:
    """The fitted plane: parameters, their covariance, the points' error and how many points told it."""

    layout: Layout
    frame: Frame
    values: Floats
    covariance: Floats
    side_sd_px: float
    freedom: float
    points: int
    misfit: float
    rival: PlaneFit | None = None
    """The other pose of the card, where the photo does not rule it out."""

    @property
    def oblique_deg(self) -> float:
        """Angle between the line of sight to the card and the square look at it, in degrees."""
        turn, place = _pose(self.values)
        return float(np.degrees(np.arccos(np.minimum(1.0, abs(turn[:, 2] @ place) / np.linalg.norm(place)))))

    @property
    def bend_per_m(self) -> float:
        """Greatest curvature of the paper, 1/m; positive where its sides come toward the camera."""
        least, most = (float(bend) * 1000 for bend in np.linalg.eigvalsh(_bend(self.values)))
        return most if abs(most) >= abs(least) else least

    def to_plane(self, pixels: Floats) -> Floats:
        """Points of the plane in mm for pixels, shape (n, 2); NaN where a pixel looks past the horizon."""
        return plane_points(self, self.values, GAP_MM, pixels)

    def to_pixels(self, plane_mm: Floats) -> Floats:
        """Pixels of points of the plane, mm, shape (n, 2)."""
        depth = np.full((len(plane_mm), 1), plane_depth_mm(self.layout, self.values, GAP_MM))
        return project(self.frame, self.values, np.hstack([plane_mm, depth]))


def _pose(values: Floats) -> tuple[Floats, Floats]:
    """Turn, shape (..., 3, 3), and place in mm, shape (..., 3), of parameters, shape (..., 15)."""
    import cv2

    turns = [cv2.Rodrigues(turn)[0] for turn in values[..., :3].reshape(-1, 3)]
    return np.array(turns, dtype=np.float64).reshape(*values.shape[:-1], 3, 3), values[..., 3:6]


def _bend(values: Floats) -> Floats:
    """Curvature tensor of the paper, 1/mm, shape (..., 2, 2)."""
    return values[..., [[11, 12], [12, 13]]] / 1000


def paper_points(values: Floats, flat_mm: Floats) -> Floats:
    """Where points of the flat card are on the bent paper, mm, shape (..., n, 2) -> (..., n, 3)."""
    bend = _bend(values)
    slope = flat_mm @ bend
    rise = (flat_mm * slope).sum(axis=-1, keepdims=True)
    return np.concatenate([flat_mm - rise * slope / 6, -rise / 2], axis=-1)


def plane_depth_mm(layout: Layout, values: Floats, gap_mm: float) -> float:
    """How far the plane lies behind the paper's middle: the paper touches it at its lowest points."""
    lowest = paper_points(values, layout.outline)[:, 2].max()
    return float(max(0.0, lowest) + gap_mm)


def project(frame: Frame, values: Floats, points_mm: Floats) -> Floats:
    """Pixels of points in the card's axes, mm, shape (..., n, 3) -> (..., n, 2)."""
    turn, place = _pose(values)
    seen = points_mm @ turn.swapaxes(-1, -2) + place[..., None, :]
    flat = seen[..., :2] / seen[..., 2:]
    bent = flat * _stretch(values, flat)
    focal = frame.focal_px * np.exp(values[..., None, 6:7])
    return np.asarray((bent + values[..., None, 8:10]) * focal + frame.middle)


def _stretch(values: Floats, flat: Floats) -> Floats:
    """Radial distortion: by how much the lens pushes a direction outward, shape (..., n, 1)."""
    square = (flat**2).sum(axis=-1, keepdims=True)
    return np.asarray(1 + values[..., None, 7:8] * square + values[..., None, 14:15] * square**2)


def plane_points(fit: PlaneFit, values: Floats, gap_mm: float, pixels: Floats) -> Floats:
    """Back from pixels to the plane, mm, shape (n, 2), under some values of the parameters."""
    turn, place = _pose(values)
    focal = fit.frame.focal_px * np.exp(values[6])
    bent = (pixels - fit.frame.middle) / focal - values[8:10]
    flat = bent.copy()
    for _ in range(8):
        flat = bent / _stretch(values, flat)
    rays = np.hstack([flat, np.ones((len(flat), 1))]) @ turn
    eye = -place @ turn
    depth = plane_depth_mm(fit.layout, values, gap_mm) - eye[2]
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = depth / rays[:, 2]
        points = eye[:2] + reach[:, None] * rays[:, :2]
    return np.where((reach > 0)[:, None], points, np.nan)


def fit_plane(layout: Layout, markers: list[Marker], sides: SidePoints, frame: Frame) -> PlaneFit:
    """Fit the plane to the sides of a card's markers (at least one marker).

    Both poses that explain a small plane are tried; the better one stays, with the other as its rival where
    it is nearly as good. Points that lie far off the fit are left out and it is fitted again.
    """
    blur = SMALL_CELL_PX2 / float(np.median([marker.cell_px for marker in markers])) ** 2
    fits = [_fit_from(layout, sides, frame, start, blur) for start in _starts(layout, markers, frame)]
    best, *others = sorted(fits, key=lambda fit: fit.misfit)
    near = [fit for fit in others if fit.misfit - best.misfit < RULED_OUT]
    return replace(best, rival=near[0]) if near else best


def _starts(layout: Layout, markers: list[Marker], frame: Frame) -> list[Floats]:
    import cv2

    flat = np.vstack([layout.marker_corners[marker.place] for marker in markers])
    seen = np.vstack([marker.corners for marker in markers])
    lens = np.array([[frame.focal_px, 0, frame.middle[0]], [0, frame.focal_px, frame.middle[1]], [0, 0, 1]])
    solid = np.hstack([flat, np.zeros((len(flat), 1))])
    _, turns, places, _ = cv2.solvePnPGeneric(solid, seen, lens, None, flags=cv2.SOLVEPNP_IPPE)
    starts = []
    for turn, place in zip(turns, places, strict=True):
        values = np.zeros(PARAMETERS)
        values[:3], values[3:6] = turn.ravel(), place.ravel()
        starts.append(values)
    return starts


def _fit_from(layout: Layout, all_sides: SidePoints, frame: Frame, start: Floats, blur_px: float) -> PlaneFit:
    values, sd, sides = start, 1.0, all_sides
    for _ in range(3):
        values = _solve(sides, frame, values, sd)
        off = _offsets(all_sides, frame, values)
        near = np.abs(off) < max(4.5 * 1.4826 * float(np.median(np.abs(off))), 0.3)
        sides = all_sides.keep(near) if near.sum() >= PARAMETERS else all_sides
        off = _offsets(sides, frame, values)
        freedom = max(1.0, len(off) - FREE_PARAMETERS)
        sd = float(np.sqrt((off @ off + SIDE_SD_WEIGHT * SIDE_SD_PX**2) / (freedom + SIDE_SD_WEIGHT)))
    sd = float(np.hypot(sd, blur_px))
    rows = _jacobian(sides, frame, values, sd)
    covariance = np.asarray(np.linalg.pinv(rows.T @ rows), dtype=np.float64)
    misfit = _misfit(_rows(all_sides, frame, values, SIDE_SD_PX))
    return PlaneFit(layout, frame, values, covariance, sd, freedom + SIDE_SD_WEIGHT, len(off), misfit)


def _misfit(rows: Floats) -> float:
    """Sum of squares in which a row far off counts no more than one five deviations off."""
    return float(np.minimum(rows**2, 25.0).sum())


def _solve(sides: SidePoints, frame: Frame, start: Floats, sd: float) -> Floats:
    from scipy.optimize import least_squares

    solved = least_squares(
        lambda v: _rows(sides, frame, v, sd),
        start,
        jac=lambda v: _jacobian(sides, frame, v, sd),
        method="lm",
        x_scale=_SCALE,
        max_nfev=60,
    )
    return np.asarray(solved.x, dtype=np.float64)


_SCALE = np.array([0.01] * 3 + [1.0] * 3 + [0.01, 0.01, 0.003, 0.003, 0.05, 0.3, 0.3, 0.3, 0.005])
_STEP = _SCALE * 1e-4


def _jacobian(sides: SidePoints, frame: Frame, values: Floats, sd: float) -> Floats:
    """How the rows change with each parameter, shape (rows, 15): one step up and one down, all at once."""
    steps = np.diag(_STEP)
    up, down = (_rows(sides, frame, values + move, sd) for move in (steps, -steps))
    return np.asarray((up - down).T / (2 * _STEP))


def _offsets(sides: SidePoints, frame: Frame, values: Floats) -> Floats:
    """How far each of n seen points lies outside the predicted side, in pixels, shape (..., n)."""
    solid = paper_points(values, sides.card_mm + values[..., None, 10:11] * sides.outward_mm)
    return np.asarray(((sides.pixels - project(frame, values, solid)) * sides.normals).sum(axis=-1))


def _rows(sides: SidePoints, frame: Frame, values: Floats, sd: float) -> Floats:
    """What is to become small: the offsets by their deviation, then the priors, shape (..., n + 10)."""
    each = np.moveaxis(values, -1, 0)
    mm_per_px = np.maximum(each[5], 1.0) / frame.focal_px
    across, both, down = each[11:14]
    prior = np.stack(
        [
            each[6] / frame.focal_sd,
            each[7] / DISTORTION_SD,
            each[8] / MIDDLE_SD,
            each[9] / MIDDLE_SD,
            each[10] / (BLEED_SD_MM_PER_PX * mm_per_px),
            across / BEND_SD_PER_M,
            both / BEND_SD_PER_M,
            down / BEND_SD_PER_M,
            (across * down - both**2) / STRETCH_SD_PER_M2,
            each[14] / DISTORTION4_SD,
        ],
        axis=-1,
    )
    return np.concatenate([_offsets(sides, frame, values) / sd, prior], axis=-1)
