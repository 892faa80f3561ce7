"""Any photo file to upright 8-bit RGB pixels, or a clear reason why not.

Pillow reads the whole file first (a reduced JPEG decode still reads every byte), so that half a photo is
refused: OpenCV returns a full picture for half a JPEG without a word. EXIF orientation (CIPA DC-008, tag
0x0112) is obeyed here and nowhere else. All functions are pure and may run in a worker process that is killed
when it takes too long.
"""

from __future__ import annotations

import io
import threading
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from triage.errors import BadPhoto

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL import Image

MAX_PIXELS = 100_000_000
MAX_BYTES = 500_000_000
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
_ORIENTATION_TAG = 0x0112
_CAMERA_FACTS, _DISTANCE_TAG, _FOCAL_TAG = 0x8769, 0x9206, 0xA405
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_REDUCIBLE = ("L", "LA", "RGB", "RGBA", "CMYK", "YCbCr")
_STRIP_ROWS = 256
_warnings_lock = threading.Lock()
_ready = threading.Event()


@dataclass(frozen=True, eq=False)
class UprightImage:
    """Upright pixels of one photo.

    Attributes
    ----------
    rgb : (height, width, 3) uint8, as a person would see the photo; may be smaller than the original.
    full_width, full_height : size of the original in pixels, upright.
    orientation : what the file's EXIF says, 1 to 8; 1 where it says nothing or the format turns the pixels.
    distance_m, focal_mm_35 : distance and 35 mm equivalent focal length where the camera recorded them.
    """

    rgb: NDArray[np.uint8]
    full_width: int
    full_height: int
    orientation: int
    distance_m: float | None = None
    focal_mm_35: float | None = None


@dataclass(frozen=True)
class _Exif:
    orientation: int = 1
    distance_m: float | None = None
    focal_mm_35: float | None = None


def _prepare_pillow() -> None:
    """Teach Pillow HEIC and our pixel limit, once a process."""
    if _ready.is_set():
        return
    import pillow_heif
    from PIL import Image, TiffImagePlugin, WebPImagePlugin  # noqa: F401 - importing registers the formats

    Image.preinit()
    pillow_heif.register_heif_opener(thumbnails=False)
    Image.MAX_IMAGE_PIXELS = MAX_PIXELS
    _ready.set()


def _read(source: str | Path | bytes) -> bytes:
    if isinstance(source, bytes):
        data = source
    else:
        path = Path(source)
        try:
            if path.stat().st_size > MAX_BYTES:
                raise BadPhoto(f"larger than {MAX_BYTES // 1_000_000} MB")
            data = path.read_bytes()
        except OSError as error:
            raise BadPhoto(f"cannot be read: {error.strerror or error}") from error
    if not data:
        raise BadPhoto("the file is empty")
    return data


def _format_hint(data: bytes) -> str:
    """Say what the bytes look like when Pillow cannot open them."""
    head = data[:16]
    if head.startswith(b"\xff\xd8"):
        return "a damaged JPEG"
    if head.startswith(b"\x89PNG"):
        return "a damaged PNG"
    if head[4:8] == b"ftyp":
        return "a damaged HEIC photo" if head[8:12] in _HEIF_BRANDS else "a video or an unknown container"
    if head[:4] == b"RIFF":
        return "a damaged WebP" if head[8:12] == b"WEBP" else "a sound or video file"
    if head[:4] in (b"II*\0", b"MM\0*"):
        return "a damaged TIFF"
    if all(9 <= byte < 127 for byte in data[:512]):
        return "a text file"
    return "no JPEG, PNG, HEIC, WebP or TIFF photo"


def _open(data: bytes) -> Image.Image:
    """Read the header; pixels are not decoded yet."""
    from PIL import Image, UnidentifiedImageError

    _prepare_pillow()
    with _warnings_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            image = Image.open(io.BytesIO(data), formats=FORMATS)
        except UnidentifiedImageError as error:
            raise BadPhoto(_format_hint(data)) from error
        except Image.DecompressionBombError as error:
            raise BadPhoto(_too_many(None)) from error
        except Exception as error:  # whatever a decoder throws at a hostile header, only the photo is bad
            raise BadPhoto(f"{_format_hint(data)} ({type(error).__name__})") from error
    width, height = image.size
    if width < 1 or height < 1:
        raise BadPhoto("has no pixels")
    if width * height > MAX_PIXELS:
        raise BadPhoto(_too_many(width * height))
    return image


def _too_many(pixels: int | None) -> str:
    said = f"{pixels / 1e6:.0f} megapixels, " if pixels else ""
    return f"{said}more than the limit of {MAX_PIXELS // 1_000_000} megapixels"


def _read_exif(image: Image.Image) -> _Exif:
    with _warnings_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            exif = image.getexif()
            orientation = exif.get(_ORIENTATION_TAG, 1)
            camera = exif.get_ifd(_CAMERA_FACTS)
        except Exception:  # broken EXIF must not cost a readable photo
            return _Exif()
    good = isinstance(orientation, int) and 1 <= orientation <= 8
    return _Exif(
        orientation if good else 1, _positive(camera.get(_DISTANCE_TAG)), _positive(camera.get(_FOCAL_TAG))
    )


def _positive(value: object) -> float | None:
    """Return an EXIF number when it is positive and finite (0 and infinity mean unknown there)."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if 0 < number < 10_000 else None


def _load(image: Image.Image) -> None:
    from PIL import ImageFile

    # Other libraries switch this on for the whole process; then half a photo would pass as a whole one.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        image.load()
    except MemoryError as error:
        raise BadPhoto("needs more memory than there is") from error
    except Exception as error:  # decoders raise OSError, SyntaxError, struct.error, ValueError, EOFError ...
        what = str(error).strip() or type(error).__name__
        reason = "cut short" if "truncated" in what.lower() or "incomplete" in what.lower() else "damaged"
        raise BadPhoto(f"{reason}: {what}"[:200]) from error


def _on_white(image: Image.Image) -> Image.Image:
    from PIL import Image

    flat = image.convert("RGBA")
    white = Image.new("RGBA", flat.size, (255, 255, 255, 255))
    return Image.alpha_composite(white, flat).convert("RGB")


def _eight_bits(image: Image.Image) -> Image.Image:
    """Return 16-bit and 32-bit gray as 8-bit gray, its highest byte; other pictures as they are."""
    from PIL import Image

    if not image.mode.startswith("I"):
        return image
    wide = np.asarray(image)
    shift = 8 if wide.max(initial=0) > 255 else 0
    gray = np.empty(wide.shape, np.uint8)
    for first in range(0, wide.shape[0], _STRIP_ROWS):
        strip = slice(first, first + _STRIP_ROWS)
        np.clip(wide[strip] >> shift, 0, 255, out=gray[strip], casting="unsafe")
    return Image.fromarray(gray)


def _to_rgb(image: Image.Image) -> NDArray[np.uint8]:
    """Convert any Pillow mode to (height, width, 3) uint8; transparency lies on white."""
    mode = image.mode
    if mode == "F":
        raise BadPhoto("has floating-point pixels, which no camera photo has")
    if mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in image.info:
        image = _on_white(image)
    elif mode != "RGB":
        image = image.convert("RGB")
    return np.asarray(image)


def _reduced(image: Image.Image, long_side_px: int) -> Image.Image:
    """Average whole blocks of a picture at least twice too large, so that later copies of it are small."""
    factor = max(image.size) // long_side_px
    if factor < 2:
        return image
    if image.mode in ("1", "P"):
        image = image.convert("RGBA" if "transparency" in image.info else "RGB")
    return image.reduce(factor) if image.mode in _REDUCIBLE else image


def turn_upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn stored pixels upright; ``orientation`` as in EXIF 2.32, 4.6.4, tag 274 (0th row, 0th column)."""
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1] if orientation in (2, 3) else pixels
    if orientation in (3, 4):
        pixels = pixels[::-1]
    if orientation in (5, 6, 7, 8):
        pixels = pixels.swapaxes(0, 1)
        if orientation in (6, 7):
            pixels = pixels[:, ::-1]
        if orientation in (7, 8):
            pixels = pixels[::-1]
    return np.ascontiguousarray(pixels)


def resample(pixels: NDArray[np.uint8], width: int, height: int) -> NDArray[np.uint8]:
    """Resize (H, W, 3): area averaging from half the size downward, linear interpolation above."""
    import cv2

    if (pixels.shape[1], pixels.shape[0]) == (width, height):
        return pixels
    halved = 4 * width * height <= pixels.shape[0] * pixels.shape[1]
    method = cv2.INTER_AREA if halved else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(pixels, (width, height), interpolation=method), np.uint8)


def shrink(pixels: NDArray[np.uint8], long_side_px: int) -> NDArray[np.uint8]:
    """Shrink to a long side of ``long_side_px``; smaller pictures stay as they are."""
    height, width = pixels.shape[:2]
    if max(height, width) <= long_side_px:
        return pixels
    scale = long_side_px / max(height, width)
    return resample(pixels, max(1, round(width * scale)), max(1, round(height * scale)))


def open_upright(
    source: str | Path | bytes, long_side_px: int | None = None, *, exact: bool = True
) -> UprightImage:
    """Decode a photo (JPEG, PNG, HEIC, WebP, TIFF; the first picture of several) to upright RGB.

    Parameters
    ----------
    source : path of the file, or its bytes.
    long_side_px : shrink to this long side while decoding; never enlarges. None keeps every pixel.
    exact : without it the picture may be up to about twice as long, for a caller that resizes it anyway.

    Raises
    ------
    BadPhoto
        with the reason: empty, cut short, damaged, too large, or no photo at all.
    """
    image = _open(_read(source))
    tiff = image.format == "TIFF"
    exif = _read_exif(image) if tiff else _Exif()  # Pillow forgets it when it turns a TIFF upright
    full = image.size
    if long_side_px and image.format in ("JPEG", "MPO"):
        scale = min(1.0, long_side_px / max(full))
        image.draft(None, (max(1, int(full[0] * scale)), max(1, int(full[1] * scale))))
        _load(image)
    else:
        _load(image)
        full = image.size
    if not tiff:
        exif = _read_exif(image)  # never before load(): a PNG's EXIF loads the pixels and hides their damage
    orientation = 1 if tiff else exif.orientation
    image = _eight_bits(image)
    pixels = _to_rgb(_reduced(image, long_side_px) if long_side_px else image)
    if long_side_px and exact:
        pixels = shrink(pixels, long_side_px)
    width, height = full if orientation < 5 else full[::-1]
    return UprightImage(
        turn_upright(pixels, orientation), width, height, exif.orientation, exif.distance_m, exif.focal_mm_35
    )
