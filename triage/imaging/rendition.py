"""What may leave the library: an upright JPEG without position, serial numbers, names or thumbnails."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from triage.errors import BadPhoto
from triage.imaging.decode import open_upright, shrink

if TYPE_CHECKING:
    from numpy.typing import NDArray

RENDITION_LONG_SIDE_PX = 1600
RENDITION_QUALITY = 85
# JPEG markers: ITU-T T.81, table B.1
_SOI, _EOI, _SOS, _COM = 0xD8, 0xD9, 0xDA, 0xFE
_APP0, _APP14, _APP15 = 0xE0, 0xEE, 0xEF


def encode_jpeg(rgb: NDArray[np.uint8], quality: int = RENDITION_QUALITY) -> bytes:
    """Encode (H, W, 3) uint8 as a JPEG that holds pixels only; the same bytes every time."""
    import cv2

    done, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    if not done:
        raise BadPhoto("cannot be written as a JPEG")
    return bytes(data)


def make_rendition(source: bytes, long_side_px: int = RENDITION_LONG_SIDE_PX) -> bytes:
    """Return an upright JPEG of a photo, at most ``long_side_px`` long, without any metadata.

    Raises
    ------
    BadPhoto
        when the photo cannot be read.
    """
    return encode_jpeg(shrink(open_upright(source, long_side_px).rgb, long_side_px))


def strip_metadata(jpeg: bytes) -> bytes:
    """Return the JPEG with its pixels unchanged and everything else removed.

    Gone are EXIF, XMP, IPTC, comments, thumbnails, color profile and whatever follows the picture.

    Only the JFIF and Adobe headers stay, since decoders need the latter's color transform. Whatever
    follows the end of the first picture (further pictures of an MPO, appended data) is dropped. Orientation
    is lost with the EXIF: give it upright pixels.

    Raises
    ------
    BadPhoto
        when the bytes are no whole JPEG.
    """
    if jpeg[:2] != bytes((0xFF, _SOI)):
        raise BadPhoto("no JPEG")
    kept = [jpeg[:2]]
    at = 2
    while True:
        at, marker, segment = _segment(jpeg, at)
        if marker == _EOI:
            kept.append(b"\xff\xd9")
            return b"".join(kept)
        if marker == _SOS:
            end = _end_of_scan(jpeg, at)
            kept.append(segment + jpeg[at:end])
            at = end
        elif not _is_private(marker, segment):
            kept.append(segment)


def _segment(jpeg: bytes, at: int) -> tuple[int, int, bytes]:
    """Return where the next segment ends, its marker, and its bytes with the marker."""
    while at + 1 < len(jpeg) and jpeg[at] == 0xFF and jpeg[at + 1] == 0xFF:
        at += 1  # fill bytes
    if at + 1 >= len(jpeg) or jpeg[at] != 0xFF:
        raise BadPhoto("damaged: no JPEG marker where one must be")
    marker = jpeg[at + 1]
    if marker == _EOI:
        return at + 2, marker, b""
    length = int.from_bytes(jpeg[at + 2 : at + 4], "big")
    end = at + 2 + length
    if length < 2 or end > len(jpeg):
        raise BadPhoto("cut short: a JPEG segment ends after the file")
    return end, marker, jpeg[at:end]


def _end_of_scan(jpeg: bytes, at: int) -> int:
    """Return where the entropy-coded data that begins at ``at`` ends: the next marker that is no restart."""
    while True:
        at = jpeg.find(b"\xff", at)
        if at < 0 or at + 1 >= len(jpeg):
            raise BadPhoto("cut short: the JPEG has no end")
        follower = jpeg[at + 1]
        if follower == 0xFF:
            at += 1
        elif follower == 0 or 0xD0 <= follower <= 0xD7:
            at += 2
        else:
            return at


def _is_private(marker: int, segment: bytes) -> bool:
    if marker == _COM:
        return True
    if not _APP0 <= marker <= _APP15:
        return False
    if marker == _APP0:
        return segment[4:9] != b"JFIF\0" or len(segment) != 18  # 18: no JFIF thumbnail inside
    return not (marker == _APP14 and segment[4:9] == b"Adobe")
