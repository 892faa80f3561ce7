"""Writes JPEGs as a phone does: maker and model, time with its zone, exposure, orientation, position."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from .phone import Phone

#: How far the upright picture is turned (counter-clockwise, degrees) to be stored under an orientation
#: (EXIF 2.32, 4.6.4.A).
_STORED_TURN = {1: 0, 3: 180, 6: 90, 8: 270}


@dataclass(frozen=True)
class Moment:
    """When and where a photo was taken. Degrees; an invented place."""

    taken_at: datetime
    latitude: float | None
    longitude: float | None
    exposure_s: float = 1 / 60
    iso: int = 100
    flash: bool = False


def encode(
    picture: np.ndarray, phone: Phone, moment: Moment, orientation: int = 1, quality: int = 75
) -> bytes:
    """JPEG bytes of an upright picture (h, w, 3), stored so that `orientation` puts it upright again."""
    image = Image.fromarray(picture)
    if _STORED_TURN[orientation]:
        image = image.rotate(_STORED_TURN[orientation], expand=True)
    exif = Image.Exif()
    stamp = moment.taken_at.strftime("%Y:%m:%d %H:%M:%S")
    exif[0x010F], exif[0x0110], exif[0x0112] = phone.make, phone.model, orientation
    exif[0x011A], exif[0x011B], exif[0x0128] = IFDRational(72, 1), IFDRational(72, 1), 2
    exif[0x0131], exif[0x0132] = f"{phone.model} camera 3.1", stamp
    exif._ifds[0x8769] = _details(phone, moment, stamp, image.size)
    if moment.latitude is not None and moment.longitude is not None:
        exif._ifds[0x8825] = _position(moment)
    out = BytesIO()
    image.save(out, "JPEG", quality=quality, exif=exif, subsampling=2)
    return out.getvalue()


def compressed_again(data: bytes, quality: int) -> bytes:
    """The same photo with its EXIF at a lower JPEG quality."""
    out = BytesIO()
    with Image.open(BytesIO(data)) as image:
        image.save(
            out,
            "JPEG",
            quality=quality,
            subsampling=2,
            exif=image.info["exif"],
            optimize=True,
            progressive=True,
        )
    return out.getvalue()


def _details(phone: Phone, moment: Moment, stamp: str, size: tuple[int, int]) -> dict[int, object]:
    offset = moment.taken_at.strftime("%z")
    details: dict[int, object] = {
        0x829A: IFDRational(1, max(1, round(1 / moment.exposure_s))),
        0x829D: IFDRational(round(phone.fnumber * 10), 10),
        0x8827: moment.iso,
        0x9000: b"0232",
        0x9003: stamp,
        0x9004: stamp,
        0x9209: 1 if moment.flash else 16,
        0x920A: IFDRational(round(phone.focal_mm * 100), 100),
        0xA001: 1,
        0xA002: size[0],
        0xA003: size[1],
        0xA405: phone.focal_35mm,
        0x9291: f"{moment.taken_at.microsecond // 1000:03d}",
    }
    if offset:
        zone = f"{offset[:3]}:{offset[3:]}"
        details |= {0x9010: zone, 0x9011: zone, 0x9012: zone}
    return details


def _position(moment: Moment) -> dict[int, object]:
    assert moment.latitude is not None
    assert moment.longitude is not None
    return {
        0: b"\x02\x03\x00\x00",
        1: "N" if moment.latitude >= 0 else "S",
        2: _degrees(abs(moment.latitude)),
        3: "E" if moment.longitude >= 0 else "W",
        4: _degrees(abs(moment.longitude)),
        5: b"\x00",
        6: IFDRational(2140, 10),
    }


def _degrees(value: float) -> tuple[IFDRational, IFDRational, IFDRational]:
    hundredths = round(value * 360000)
    degrees, rest = divmod(hundredths, 360000)
    minutes, seconds = divmod(rest, 6000)
    return IFDRational(degrees, 1), IFDRational(minutes, 1), IFDRational(seconds, 100)


def save(path: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(data)
    part.replace(path)
