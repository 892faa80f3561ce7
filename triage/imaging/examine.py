"""All that ingest wants to know of a photo's pixels, with one reduced decode."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from triage.imaging.decode import open_upright, shrink
from triage.imaging.fingerprint import HASH_LONG_SIDE_PX, perceptual_hashes
from triage.imaging.quality import QUALITY_LONG_SIDE_PX, measure_quality
from triage.imaging.rendition import RENDITION_LONG_SIDE_PX, encode_jpeg


@dataclass(frozen=True, eq=False)
class Examined:
    """What one decode told.

    Attributes
    ----------
    width, height : upright size of the original, pixels.
    orientation : what the file's EXIF says, 1 to 8.
    rendition_jpeg : upright, at most 1600 pixels long, without any metadata.
    quality : see `triage.imaging.quality.measure_quality`.
    phash : PDQ hash, 64 hex digits; phash_turned : those of the photo turned by 90, 180, 270 degrees.
    """

    width: int
    height: int
    orientation: int
    rendition_jpeg: bytes
    quality: Mapping[str, float | bool]
    phash: str
    phash_turned: tuple[str, str, str]


def examine(source: str | Path | bytes) -> Examined:
    """Decode a photo once and return its size, rendition, quality and perceptual hash.

    Raises
    ------
    BadPhoto
        with the reason, when the file is no photo that can be read whole.
    """
    image = open_upright(source, RENDITION_LONG_SIDE_PX)
    small = shrink(image.rgb, QUALITY_LONG_SIDE_PX)
    hashes = perceptual_hashes(shrink(small, HASH_LONG_SIDE_PX))
    quality = measure_quality(
        image.rgb, max(image.full_width, image.full_height), image.distance_m, image.focal_mm_35
    )
    return Examined(
        width=image.full_width,
        height=image.full_height,
        orientation=image.orientation,
        rendition_jpeg=encode_jpeg(image.rgb),
        quality=quality,
        phash=hashes[0],
        phash_turned=hashes[1:],
    )
