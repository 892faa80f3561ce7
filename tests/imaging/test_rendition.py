"""Nothing private leaves with a rendition, and stripping does not touch a pixel."""

from __future__ import annotations

import io
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from triage.errors import BadPhoto
from triage.imaging import make_rendition, strip_metadata
from triage.imaging.rendition import RENDITION_LONG_SIDE_PX


@pytest.fixture(scope="module")
def private_jpeg(coffee: np.ndarray) -> bytes:
    """A JPEG with position, owner, serial number, comment, XMP, color profile and an appended tail."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "Invented Camera"
    exif.get_ifd(0x8769)[0xA431] = "SERIAL-12345"
    exif.get_ifd(0x8769)[0xA430] = "Invented Owner"
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (47.0, 30.0, 12.0)
    buffer = io.BytesIO()
    Image.fromarray(coffee).save(
        buffer,
        "JPEG",
        exif=exif,
        comment=b"private comment",
        xmp=b"<x:xmpmeta>private xmp</x:xmpmeta>",
        icc_profile=b"private profile" * 20,
    )
    return buffer.getvalue() + b"appended tail"


def test_stripping_keeps_every_pixel_and_nothing_else(private_jpeg: bytes) -> None:
    stripped = strip_metadata(private_jpeg)
    before, after = Image.open(io.BytesIO(private_jpeg)), Image.open(io.BytesIO(stripped))
    assert before.tobytes() == after.tobytes()
    assert not after.getexif()
    for secret in (b"Invented", b"SERIAL", b"private", b"appended", b"Exif", b"xmp"):
        assert secret in private_jpeg
        assert secret not in stripped


def test_stripping_twice_changes_nothing(private_jpeg: bytes) -> None:
    once = strip_metadata(private_jpeg)
    assert strip_metadata(once) == once


def test_adobe_color_transform_survives() -> None:
    buffer = io.BytesIO()
    Image.new("CMYK", (40, 40), (10, 200, 30, 40)).save(buffer, "JPEG")
    stripped = Image.open(io.BytesIO(strip_metadata(buffer.getvalue())))
    assert stripped.tobytes() == Image.open(buffer).tobytes()


def test_progressive_jpeg_with_many_scans(coffee: np.ndarray) -> None:
    buffer = io.BytesIO()
    Image.fromarray(coffee).save(buffer, "JPEG", progressive=True, comment=b"private")
    stripped = strip_metadata(buffer.getvalue())
    assert Image.open(io.BytesIO(stripped)).tobytes() == Image.open(buffer).tobytes()
    assert b"private" not in stripped


@pytest.mark.parametrize("share", [0.01, 0.2, 0.6, 0.95])
def test_half_a_jpeg_is_not_stripped(private_jpeg: bytes, share: float) -> None:
    with pytest.raises(BadPhoto):
        strip_metadata(private_jpeg[: int(len(private_jpeg) * share)])


def test_what_is_no_jpeg_is_refused() -> None:
    with pytest.raises(BadPhoto, match="no JPEG"):
        strip_metadata(b"hello")


def test_rendition_is_upright_bounded_and_bare(private_jpeg: bytes) -> None:
    rendition = make_rendition(private_jpeg[: -len(b"appended tail")], 300)
    image = Image.open(io.BytesIO(rendition))
    assert image.size == (200, 300)  # stored 600 x 400, orientation 6: upright is portrait
    assert not image.getexif()
    assert b"Invented" not in rendition
    assert make_rendition(private_jpeg, 300) == rendition


def test_real_position_and_serials_are_gone_for_exiftool(exif_samples: Path, tmp_path: Path) -> None:
    # exiftool (Debian libimage-exiftool-perl) is the outside witness
    exiftool = shutil.which("exiftool")
    if exiftool is None:
        pytest.skip("exiftool is not installed (apt install libimage-exiftool-perl)")
    for number, source in enumerate(sorted((exif_samples / "gps").glob("*.jpg"))):
        (tmp_path / f"{number}-s.jpg").write_bytes(strip_metadata(source.read_bytes()))
        (tmp_path / f"{number}-r.jpg").write_bytes(
            make_rendition(source.read_bytes(), RENDITION_LONG_SIDE_PX)
        )
    command = [exiftool, "-G", "-a", "-s", str(tmp_path)]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    groups = {line.split("]")[0].strip("[ ") for line in said.splitlines() if line.startswith("[")}
    assert groups <= {"ExifTool", "File", "JFIF", "Composite", "APP14"}
    assert "GPS" not in said


def test_a_thumbnail_in_the_jfif_header_does_not_leave():
    """JFIF 1.02 (ITU-T T.871) lets the APP0 header carry a small uncompressed picture after its 14 bytes."""
    import io

    from PIL import Image

    from triage.imaging.rendition import strip_metadata

    out = io.BytesIO()
    Image.new("RGB", (32, 32), (90, 80, 70)).save(out, "JPEG")
    jpeg = out.getvalue()
    assert jpeg[2:4] == b"\xff\xe0"
    length = int.from_bytes(jpeg[4:6], "big")
    head = bytearray(jpeg[6 : 4 + length])
    face = bytes(range(200, 227))  # a 3 x 3 picture
    head[-2:] = bytes([3, 3])
    planted = jpeg[:4] + (length + len(face)).to_bytes(2, "big") + bytes(head) + face + jpeg[4 + length :]
    assert face in planted
    stripped = strip_metadata(planted)
    assert face not in stripped
    with Image.open(io.BytesIO(stripped)) as picture:
        assert picture.size == (32, 32)
