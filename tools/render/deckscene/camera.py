"""A phone's camera: where points of the scene fall in the picture, with the lens's own distortion."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True)
class Camera:
    """Where it stands, where it looks, how wide, and the lens. Metres, degrees, upright pixels."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]
    width_px: int
    height_px: int
    hfov_deg: float = 64.0
    roll_deg: float = 0.0
    distortion: float = 0.015
    fstop: float = 2.2
    sensor_mm: float = 5.6

    @property
    def focus_m(self) -> float:
        """Distance to the target."""
        return float(np.linalg.norm(np.subtract(self.target, self.eye)))

    @property
    def focal_mm(self) -> float:
        """Focal length of a lens that sees `hfov_deg` across the sensor."""
        return self.sensor_mm / 2 / math.tan(math.radians(self.hfov_deg) / 2)

    def axes(self) -> np.ndarray:
        """Rows: right, up, backward of the camera in the scene."""
        back = np.subtract(self.eye, self.target)
        back = back / np.linalg.norm(back)
        right = np.cross([0, 0, 1.0], back)
        right /= np.linalg.norm(right)
        up = np.cross(back, right)
        c, s = math.cos(math.radians(self.roll_deg)), math.sin(math.radians(self.roll_deg))
        return np.stack([c * right + s * up, c * up - s * right, back])

    def matrix(self) -> np.ndarray:
        """Camera to scene, 4x4, looking along -z."""
        out = np.eye(4)
        out[:3, :3] = self.axes().T
        out[:3, 3] = self.eye
        return out

    def project(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pixels (n, 2) of points (n, 3) in the distorted picture, and depth (n,) in metres."""
        seen = (np.asarray(points, float) - self.eye) @ self.axes().T
        depth = -seen[:, 2]
        safe = np.where(depth > 1e-6, depth, 1e-6)
        focal_px = self.width_px / 2 / math.tan(math.radians(self.hfov_deg) / 2)
        centre = np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])
        ideal = np.stack([seen[:, 0], -seen[:, 1]], 1) / safe[:, None] * focal_px
        unit = ideal / centre
        bent = unit.copy()
        for _ in range(12):
            bent = unit / self._stretch(np.clip(bent, -3, 3))
        return bent * centre + centre, depth

    def _stretch(self, unit: np.ndarray) -> np.ndarray:
        """How far a place of the picture reaches into the ideal one (per axis)."""
        r2 = (unit**2).sum(-1, keepdims=True)
        return 1 - self.distortion * (r2 - 0.6)

    def bend_map(self, scale: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
        """For every pixel of the picture the pixel of the ideal (pinhole) picture that lands there."""
        cx, cy = (self.width_px - 1) / 2, (self.height_px - 1) / 2
        y, x = np.mgrid[0 : self.height_px, 0 : self.width_px].astype(np.float32)
        unit = np.stack([(x - cx) / cx, (y - cy) / cy], -1)
        bent = unit * self._stretch(unit) * scale
        return (cx + bent[..., 0] * cx).astype(np.float32), (cy + bent[..., 1] * cy).astype(np.float32)

    def bend_ids(self, ids: np.ndarray) -> np.ndarray:
        """The id image as this lens draws it: nearest pixel, so that no new ids arise."""
        x, y = self.bend_map()
        return cv2.remap(
            ids.astype(np.float32), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE
        ).astype(np.int32)
