"""What a phone wrote about a photo, read by exifread behind a guard.

Position, serials and owner names are kept apart from everything else. A time gets a zone only where the
file states one. Tags: Exif 2.32 (CIPA DC-008-2019).
"""

from __future__ import annotations

import io
import logging
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

_TIME = re.compile(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)")
_ZONE = re.compile(r"[+-](0\d|1[0-4]):[0-5]\d|Z")
_TIMES = (  # never "Image DateTime": that is when the file was changed
    ("EXIF DateTimeOriginal", "EXIF SubSecTimeOriginal", "EXIF OffsetTimeOriginal"),
    ("EXIF DateTimeDigitized", "EXIF SubSecTimeDigitized", "EXIF OffsetTimeDigitized"),
)
_SERIALS = (
    "EXIF BodySerialNumber",
    "EXIF LensSerialNumber",
    "EXIF CameraOwnerName",
    "Image Artist",
    "Image Copyright",
    "EXIF ImageUniqueID",
    "MakerNote SerialNumber",
)
_MAX_TEXT = 120


@dataclass(frozen=True)
class ExifFacts:
    """What the file says of itself.

    `taken_at` is ISO 8601, with sub-seconds and zone only where given; `focal_mm` is the 35 mm equivalent
    where given, else the lens's own focal length; `private` holds position, serials and names.
    """

    taken_at: str | None = None
    camera: str | None = None
    focal_mm: float | None = None
    focal_35mm: float | None = None
    private: Mapping[str, Any] = field(default_factory=dict)


def read_exif(path: Path) -> ExifFacts:
    """Return what a photo file says of itself; a file that says nothing or is broken says nothing."""
    tags = _tags(path)
    return ExifFacts(
        taken_at=_taken_at(tags),
        camera=_camera(tags),
        focal_mm=_number(tags, "EXIF FocalLength"),
        focal_35mm=_number(tags, "EXIF FocalLengthIn35mmFilm"),
        private=_private(tags),
    )


def _tags(path: Path) -> dict[str, Any]:
    import exifread

    logging.getLogger("exifread").setLevel(logging.CRITICAL)
    try:
        with path.open("rb") as file:
            tags = exifread.process_file(file, details=False)
    except Exception:  # exifread raises whatever it trips over in a broken file: such a file says nothing
        tags = {}
    if tags or path.stat().st_size == 0:
        return dict(tags)
    try:
        block = _exif_block(path)
        return dict(exifread.process_file(io.BytesIO(block), details=False)) if block else {}
    except Exception:  # and so may Pillow: the pixels are judged elsewhere
        return {}


def _exif_block(path: Path) -> bytes | None:
    """Return the raw EXIF block that Pillow finds (HEIC and others that exifread cannot walk)."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener(thumbnails=False)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(path) as image:
            block = image.info.get("exif")
    return bytes(block).removeprefix(b"Exif\0\0") if block else None


def _text(tags: Mapping[str, Any], name: str) -> str | None:
    if name not in tags:
        return None
    text = "".join(char for char in str(tags[name]) if char.isprintable()).strip()
    return text[:_MAX_TEXT] or None


def _values(tags: Mapping[str, Any], name: str) -> list[float]:
    if name not in tags:
        return []
    values = getattr(tags[name], "values", [])
    values = values if isinstance(values, list | tuple) else [values]
    found = []
    for value in values:
        try:
            found.append(float(value))
        except (TypeError, ValueError, ZeroDivisionError, OverflowError):
            return []
    return found


def _number(tags: Mapping[str, Any], name: str) -> float | None:
    values = _values(tags, name)
    return values[0] if values and 0 < values[0] < 1e5 else None


def _camera(tags: Mapping[str, Any]) -> str | None:
    make, model = _text(tags, "Image Make"), _text(tags, "Image Model")
    if make and model and model.lower().startswith(make.lower()):
        return model  # many makers repeat their name in the model
    return " ".join(part for part in (make, model) if part) or None


def _taken_at(tags: Mapping[str, Any]) -> str | None:
    for time_tag, fraction_tag, zone_tag in _TIMES:
        match = _TIME.match(_text(tags, time_tag) or "")
        if not match:
            continue
        try:
            year, month, day, hour, minute, second = (int(part) for part in match.groups())
            when = datetime(year, month, day, hour, minute, second).isoformat()
        except ValueError:
            continue
        fraction = re.match(r"\d{1,6}", _text(tags, fraction_tag) or "")
        zone = _ZONE.fullmatch(_text(tags, zone_tag) or "")
        found = when + (f".{fraction[0].ljust(3, '0')}" if fraction else "")
        found += (zone[0].replace("Z", "+00:00")) if zone else ""
        return _standard(found)
    return None


def _standard(text: str) -> str | None:
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return None
    return (
        when.isoformat(timespec="microseconds" if when.microsecond % 1000 else "milliseconds")
        if (when.microsecond)
        else when.isoformat()
    )


def degrees(parts: list[float], reference: str | None) -> float | None:
    """Return decimal degrees of degrees, minutes, seconds; south and west are negative.

    Source: Exif 2.32, 4.6.6 (GPSLatitude): 60 deg 21' 40.45" N is 60.3612361.
    """
    if len(parts) != 3 or not (0 <= parts[0] <= 180 and 0 <= parts[1] < 60.0001 and 0 <= parts[2] < 60.0001):
        return None
    value = parts[0] + parts[1] / 60 + parts[2] / 3600
    return -value if (reference or "").upper()[:1] in ("S", "W") else value


def _private(tags: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    latitude = degrees(_values(tags, "GPS GPSLatitude"), _text(tags, "GPS GPSLatitudeRef"))
    longitude = degrees(_values(tags, "GPS GPSLongitude"), _text(tags, "GPS GPSLongitudeRef"))
    if latitude is not None and longitude is not None and abs(latitude) <= 90:
        found["latitude"], found["longitude"] = round(latitude, 7), round(longitude, 7)
    for name in _SERIALS:
        text = _text(tags, name)
        if text:
            found[name] = text
    return found
