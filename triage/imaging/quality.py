"""How good a photo is for judging small parts: sharpness, exposure, noise, size of a nail head.

The numbers are measured, the flags are limits on them. A flag makes what a photo shows 'poorly' seen; it
never removes a photo. The limits are our own (common practice has none), set on real photos blurred and
darkened by known amounts; the tests repeat that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

QUALITY_LONG_SIDE_PX = 800
TILES = 6
BLUR_FILTER_PX = 11
MIN_CONTRAST = 1.0
"""Mean absolute Sobel response (of 255 gray levels) below which a tile is too plain to be judged."""
BLURRED_ABOVE = 0.60
DARK_BELOW_STOPS = -3.0
MIDDLE_GRAY = 0.18
CLIPPED_HIGH = 250
CLIPPED_LOW = 5
NAIL_HEAD_MM = 8.7  # 11/32 in, head of a 16d common nail (from memory)
NEAREST_M = 0.6  # nobody photographs a joint from nearer (common practice)
FILM_WIDTH_MM = 36.0
PHONE_FOCAL_MM_35 = 26.0  # main camera of most phones, 35 mm equivalent (common practice)
FAR_BELOW_PX = 5.0


def luma(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return (H, W) uint8 luma of (H, W, 3) uint8 (ITU-R BT.601 weights)."""
    import cv2

    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)


def _edge_energy(gray: NDArray[np.uint8], axis: int) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Return absolute edges along an axis (8 x Sobel's), and how much of them a second blur would remove."""
    import cv2

    size = (1, BLUR_FILTER_PX) if axis == 0 else (BLUR_FILTER_PX, 1)
    order = (0, 1) if axis == 0 else (1, 0)
    again = cv2.blur(gray, size, borderType=cv2.BORDER_REFLECT)
    sharp = np.abs(cv2.Sobel(gray, cv2.CV_16S, *order, ksize=3, borderType=cv2.BORDER_REFLECT))
    blurred = np.abs(cv2.Sobel(again, cv2.CV_16S, *order, ksize=3, borderType=cv2.BORDER_REFLECT))
    return sharp, np.maximum(sharp - blurred, 0)


def _tile_means(values: NDArray[np.int16], tiles: int) -> NDArray[np.float64]:
    """Return (tiles, tiles) means; the few rows and columns that do not divide evenly are left out."""
    import cv2

    height, width = values.shape[0] // tiles, values.shape[1] // tiles
    means = np.empty((tiles, tiles))
    for row in range(tiles):
        strip = values[row * height : (row + 1) * height, : width * tiles]
        sums = cv2.reduce(strip, 0, cv2.REDUCE_SUM, dtype=cv2.CV_64F)
        means[row] = sums.reshape(tiles, width).mean(axis=1) / height
    return means


def sharpest_blur(gray: NDArray[np.uint8]) -> float:
    """Return the blur effect of the sharpest of 6 x 6 tiles, so that a blurred background does not count.

    0 is sharp, 1 blurred. Source: Crete, Dolmiere, Ladret, Nicolas, The blur effect: perception and
    estimation with a new no-reference perceptual blur metric (SPIE 6492, 2007), as scikit-image's
    ``measure.blur_effect`` computes it for a whole picture.

    The worse direction of a tile counts. It sees a lens out of focus; camera shake, which leaves edges along
    its own direction sharp, it mostly misses. 1.0 when no tile has enough contrast to say.
    """
    per_axis = []
    enough = np.zeros((TILES, TILES), bool)
    for axis in (0, 1):
        energy, gone = (_tile_means(part, TILES) / 8 for part in _edge_energy(gray, axis))
        enough |= energy >= MIN_CONTRAST
        per_axis.append(np.where(energy > 0, 1 - gone / np.maximum(energy, 1e-6), 1.0))
    worst = np.maximum(*per_axis)
    return float(worst[enough].min()) if enough.any() else 1.0


def _histogram(gray: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Return how many pixels have each of the 256 gray levels."""
    import cv2

    return cv2.calcHist([gray], [0], None, [256], [0, 256]).ravel().astype(np.int64)


def _median(counts: NDArray[np.int64]) -> float:
    """Return the median gray level; of an even number of pixels the mean of the middle two."""
    upto, total = counts.cumsum(), int(counts.sum())
    low, high = np.searchsorted(upto, [(total - 1) // 2, total // 2], side="right")
    return (float(low) + float(high)) / 2


def exposure_stops(gray: NDArray[np.uint8]) -> float:
    """Return how many stops the median linear luminance lies above middle gray (18 %); black gives -10.

    Linear light by the sRGB transfer function (IEC 61966-2-1).
    """
    value = _median(_histogram(gray)) / 255
    linear = value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
    return float(np.log2(max(linear, MIDDLE_GRAY / 1024) / MIDDLE_GRAY))


def noise_level(gray: NDArray[np.uint8]) -> float:
    """Return the noise (standard deviation, of 255 gray levels) in the calmest quarter of the tiles.

    Source: Immerkaer, Fast noise variance estimation (Computer Vision and Image Understanding 64, 1996).
    """
    import cv2

    if min(gray.shape) < 12 * TILES:
        return 0.0
    line = np.array([1, -2, 1], np.float32)  # the 3 x 3 kernel is the product of this line with itself
    response = np.abs(cv2.sepFilter2D(gray, cv2.CV_16S, line, line))
    calm = np.quantile(_tile_means(response, 4 * TILES), 0.25)
    return float(calm * np.sqrt(np.pi / 2) / 6)


def nail_head_px(long_side_px: int, distance_m: float | None, focal_mm_35: float | None) -> float:
    """Return how many pixels of the original a nail head covers at the distance that the camera recorded.

    Without a distance it is taken at 0.6 m, without a focal length at a phone's usual 26 mm (35 mm
    equivalent).
    """
    distance = distance_m or NEAREST_M
    width_mm = FILM_WIDTH_MM / (focal_mm_35 or PHONE_FOCAL_MM_35) * distance * 1000
    return long_side_px * NAIL_HEAD_MM / width_mm


def measure_quality(
    rgb: NDArray[np.uint8],
    full_long_side_px: int,
    distance_m: float | None = None,
    focal_mm_35: float | None = None,
) -> dict[str, float | bool]:
    """Return the measured quality of an upright photo.

    Keys: ``blur`` (0 sharp to 1), ``exposure_stops`` (0 at middle gray), ``clipped_high`` and ``clipped_low``
    (shares of pixels), ``noise`` (gray levels), ``nail_head_px``; flags ``blurred``, ``dark``, ``far``.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, the rendition's pixels.
    full_long_side_px : long side of the original.
    """
    from triage.imaging.decode import shrink

    gray = luma(rgb)
    small = gray if max(gray.shape) <= QUALITY_LONG_SIDE_PX else luma(shrink(rgb, QUALITY_LONG_SIDE_PX))
    blur = sharpest_blur(small) if min(small.shape) >= 4 * TILES else 1.0
    stops = exposure_stops(small)
    counts, pixels = _histogram(small), small.size
    nail = nail_head_px(full_long_side_px, distance_m, focal_mm_35)
    return {
        "blur": round(blur, 4),
        "exposure_stops": round(stops, 3),
        "clipped_high": round(float(counts[CLIPPED_HIGH:].sum() / pixels), 4),
        "clipped_low": round(float(counts[: CLIPPED_LOW + 1].sum() / pixels), 4),
        "noise": round(noise_level(gray), 3),
        "nail_head_px": round(nail, 2),
        "blurred": blur > BLURRED_ABOVE,
        "dark": stops < DARK_BELOW_STOPS,
        "far": nail < FAR_BELOW_PX,
    }
