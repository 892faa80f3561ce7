"""From linear radiance to a phone's JPEG: glare, lens, exposure, noise, tone, sharpening."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from .camera import Camera

_LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)


@dataclass(frozen=True)
class Phone:
    """An invented phone: how it writes itself into EXIF, its lens and its way of developing."""

    make: str
    model: str
    hfov_deg: float
    focal_mm: float
    focal_35mm: int
    fnumber: float
    distortion: float
    sharpen: float
    noise: float
    saturation: float
    local_tone: float
    warmth: float


PHONES = (
    Phone("Quillon", "Quillon Q7", 64.0, 4.48, 29, 1.8, 0.014, 0.36, 0.6, 1.06, 0.40, 1.00),
    Phone("Arvane", "AV-210", 66.5, 4.27, 27, 2.0, 0.022, 0.52, 0.85, 1.14, 0.48, 1.03),
    Phone("Pellwin", "Pellwin One", 62.0, 4.66, 30, 2.2, 0.006, 0.26, 1.15, 1.00, 0.30, 0.97),
)


@dataclass(frozen=True)
class Exposure:
    """What differs from shot to shot."""

    iso: float = 1.0
    bias_ev: float = 0.0
    shake_px: float = 0.0
    soft_px: float = 0.0
    thumb: float = 0.0
    vignette: float = 0.25

    def but(self, **new: float) -> Exposure:
        """The same with some values changed."""
        return replace(self, **new)


def iso_gain(linear: np.ndarray, flash: bool) -> float:
    """How far the phone turns up its gain: 1 in daylight, up to 6 under a deck, 5 with flash."""
    return 5.0 if flash else float(np.clip((0.05 / max(float(linear.mean()), 1e-6)) ** 0.5, 1, 6))


def develop(
    linear: np.ndarray, camera: Camera, phone: Phone, shot: Exposure, rng: np.random.Generator
) -> np.ndarray:
    """Radiance (h, w, 3) to an 8-bit RGB picture of the same size."""
    x = np.maximum(np.nan_to_num(linear.astype(np.float32)), 0)
    x = np.minimum(x, np.percentile(x, 99.9) * 4)
    if shot.thumb:
        x = _thumb(x, shot.thumb, rng)
    x = _lens(_glare(x), camera, shot.vignette)
    x = _white_balance(x, phone)
    x = _expose(x, shot.bias_ev)
    x = _blur(x, shot, rng)
    x = _noise(x, shot.iso * phone.noise, rng)
    x = _tone(x, phone.local_tone)
    colour = phone.saturation * (
        1 - 0.05 * (min(shot.iso, 6.0) - 1)
    )  # phones mute colour as they turn up the gain
    return (_finish(x, colour, phone.sharpen) * 255 + 0.5).astype(np.uint8)


def _glare(x: np.ndarray, share: float = 0.04) -> np.ndarray:
    veil = cv2.GaussianBlur(np.minimum(x, 4 * np.percentile(x, 98)), (0, 0), x.shape[1] / 40)
    return x * (1 - share) + veil * share


def _lens(x: np.ndarray, camera: Camera, vignette: float, colour_fringe: float = 0.0006) -> np.ndarray:
    planes = []
    for channel, scale in enumerate((1 + colour_fringe, 1.0, 1 - colour_fringe)):
        mx, my = camera.bend_map(scale)
        planes.append(
            cv2.remap(
                np.ascontiguousarray(x[..., channel]), mx, my, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
            )
        )
    return np.maximum(np.stack(planes, -1), 0) * (1 - vignette * _radius2(x.shape) / 2)[..., None]


def _radius2(shape: tuple[int, ...]) -> np.ndarray:
    h, w = shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    return ((x - (w - 1) / 2) / ((w - 1) / 2)) ** 2 + ((y - (h - 1) / 2) / ((h - 1) / 2)) ** 2


def _white_balance(x: np.ndarray, phone: Phone, strength: float = 0.9) -> np.ndarray:
    """Shades of grey (Minkowski mean of order 4), most of the way, then the maker's taste."""
    flat = x.reshape(-1, 3)[::7].clip(0, np.percentile(x, 97))
    light = (flat**4).mean(0) ** 0.25 + 1e-9
    gain = (light.mean() / light) ** strength * np.array([phone.warmth, 1.0, 1 / phone.warmth])
    return x * gain.astype(np.float32)


def _expose(x: np.ndarray, bias_ev: float) -> np.ndarray:
    """Centre-weighted geometric mean to middle grey."""
    weight = np.exp(-1.2 * _radius2(x.shape))
    mean = np.exp((np.log(x @ _LUMA + 1e-6) * weight).sum() / weight.sum())
    return x * np.float32(0.17 / mean * 2**bias_ev)


def _blur(x: np.ndarray, shot: Exposure, rng: np.random.Generator) -> np.ndarray:
    if shot.shake_px > 0:
        size = 2 * int(shot.shake_px + 2) + 1
        kernel, angle, middle = np.zeros((size, size), np.float32), rng.uniform(0, np.pi), size // 2
        for t in np.linspace(-1, 1, 80):
            bow = 0.15 * shot.shake_px * t * t
            kernel[
                int(round(middle + t * shot.shake_px * np.sin(angle) + bow * np.cos(angle))) % size,
                int(round(middle + t * shot.shake_px * np.cos(angle) - bow * np.sin(angle))) % size,
            ] += 1
        x = cv2.filter2D(x, -1, cv2.GaussianBlur(kernel / kernel.sum(), (0, 0), 0.7))
    return cv2.GaussianBlur(x, (0, 0), shot.soft_px) if shot.soft_px > 0 else x


def _thumb(x: np.ndarray, share: float, rng: np.random.Generator) -> np.ndarray:
    """A finger over a corner of the lens: far out of focus, lit through the skin."""
    h, w = x.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    side = rng.choice([0, w])
    inside = ((xx - side) / (w * (0.35 + share))) ** 2 + (
        (yy - h * rng.uniform(0.2, 0.5)) / (h * (0.3 + 0.5 * share))
    ) ** 2
    mask = cv2.GaussianBlur((inside < 1).astype(np.float32), (0, 0), w / 45)[..., None]
    skin = (
        np.array([0.62, 0.30, 0.20], np.float32)
        * np.percentile(x @ _LUMA, 60)
        * (1.1 - 0.5 * np.minimum(inside, 1.2))[..., None]
    )
    return x * (1 - mask) + skin * mask


def _noise(x: np.ndarray, iso: float, rng: np.random.Generator) -> np.ndarray:
    fine = rng.normal(0, 1, x.shape).astype(np.float32)
    coarse = cv2.GaussianBlur(rng.normal(0, 1, x.shape).astype(np.float32), (0, 0), 2.2) * 2.4
    spread = np.sqrt(np.maximum(x, 0) * iso / 4000 + 0.0022**2 * iso)
    return np.maximum(x + spread * (fine * 0.75 + coarse * 0.45), 0)


def _tone(x: np.ndarray, local: float) -> np.ndarray:
    """Local tone mapping (guided filter on log luminance), a filmic curve, sRGB."""
    h, w = x.shape[:2]
    log = np.log2(x @ _LUMA + 1e-4)
    small = cv2.resize(log, (w // 4, h // 4), interpolation=cv2.INTER_AREA)
    mean = cv2.blur(small, (18, 18))
    variance = cv2.blur(small * small, (18, 18)) - mean * mean
    slope = variance / (variance + 0.12)
    base = cv2.resize(cv2.blur(slope, (18, 18)), (w, h)) * cv2.resize(small, (w, h)) + cv2.resize(
        cv2.blur(mean * (1 - slope), (18, 18)), (w, h)
    )
    over = base - np.log2(0.17)
    x = x * (2 ** (-over * local * np.where(over > 0, 0.75, 0.55)))[..., None].clip(0.1, 6)
    t = x * 0.62
    x = np.clip(t * (2.51 * t + 0.03) / (t * (2.43 * t + 0.59) + 0.14), 0, 1)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-6), 1 / 2.4) - 0.055).astype(
        np.float32
    )


def _finish(x: np.ndarray, saturation: float, sharpen: float) -> np.ndarray:
    grey = x.mean(-1, keepdims=True)
    x = np.clip(grey + (x - grey) * saturation, 0, 1)
    ycc = cv2.cvtColor(x, cv2.COLOR_RGB2YCrCb)
    ycc[..., 1:] = cv2.GaussianBlur(ycc[..., 1:], (0, 0), 1.1)
    detail = ycc[..., 0] - cv2.GaussianBlur(ycc[..., 0], (0, 0), 1.3)
    ycc[..., 0] += sharpen * np.sign(detail) * np.maximum(np.abs(detail) - 0.006, 0)
    return np.clip(cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB), 0, 1)
