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
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

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
NO_PLACE_DEG = 1e-4
"""A position within so many degrees of 0, 0 (11 m, in the open sea) is a phone's way of having none."""


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


def read_exif(source: Path | bytes) -> ExifFacts:
    """Return what a photo says about itself, from its file or its bytes; a broken one says nothing."""
    tags = _tags(source)
    return ExifFacts(
        taken_at=_taken_at(tags),
        camera=_camera(tags),
        focal_mm=_number(tags, "EXIF FocalLength"),
        focal_35mm=_number(tags, "EXIF FocalLengthIn35mmFilm"),
        private=_private(tags),
    )


def _tags(source: Path | bytes) -> dict[str, Any]:
    import exifread

    logging.getLogger("exifread").setLevel(logging.CRITICAL)
    try:
        with _opened(source) as file:
            tags = exifread.process_file(file, details=False)
    except Exception:  # exifread raises whatever it trips over in a broken file: such a file says nothing
        tags = {}
    if tags:
        return dict(tags)
    try:
        with _opened(source) as file:
            block = _exif_block(file)
        return dict(exifread.process_file(io.BytesIO(block), details=False)) if block else {}
    except Exception:  # and so may Pillow: the pixels are judged elsewhere
        return {}


def _opened(source: Path | bytes) -> BinaryIO:
    return io.BytesIO(source) if isinstance(source, bytes) else source.open("rb")


def _exif_block(file: BinaryIO) -> bytes | None:
    """Return the raw EXIF block that Pillow finds (HEIC and others that exifread cannot walk)."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener(thumbnails=False)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(file) as image:
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
    found = _position(tags)
    for name in _SERIALS:
        text = _text(tags, name)
        if text:
            found[name] = text
    return found


def _position(tags: Mapping[str, Any]) -> dict[str, Any]:
    """Return latitude and longitude in degrees, their stated error in meters and the time of the fix.

    A position of exactly 0, 0 is what a phone writes that has none, and is left out. Source of the fields:
    Exif 2.32, 4.6.6 (GPSHPositioningError in meters; GPSDateStamp and GPSTimeStamp in UTC).
    """
    latitude = degrees(_values(tags, "GPS GPSLatitude"), _text(tags, "GPS GPSLatitudeRef"))
    longitude = degrees(_values(tags, "GPS GPSLongitude"), _text(tags, "GPS GPSLongitudeRef"))
    if latitude is None or longitude is None or not (abs(latitude) <= 90 and abs(longitude) <= 180):
        return {}
    if abs(latitude) < NO_PLACE_DEG and abs(longitude) < NO_PLACE_DEG:
        return {}
    found: dict[str, Any] = {"latitude": round(latitude, 7), "longitude": round(longitude, 7)}
    error_m = _number(tags, "GPS Tag 0x001F") or _number(tags, "GPS GPSHPositioningError")
    if error_m is not None:
        found["position_error_m"] = round(error_m, 2)
    fixed_at = _fixed_at(tags)
    if fixed_at is not None:
        found["position_at"] = fixed_at
    return found


def _fixed_at(tags: Mapping[str, Any]) -> str | None:
    """Return when the position was measured, ISO 8601 in UTC, or null."""
    day = re.fullmatch(r"(\d{4})[:-](\d\d)[:-](\d\d)", _text(tags, "GPS GPSDate") or "")
    clock = _values(tags, "GPS GPSTimeStamp")
    if day is None or len(clock) != 3:
        return None
    try:
        hour, minute, second = (int(part) for part in clock)
        return datetime(int(day[1]), int(day[2]), int(day[3]), hour, minute, second, tzinfo=UTC).isoformat()
    except (ValueError, OverflowError):
        return None
