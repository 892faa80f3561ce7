"""Any photo comes out upright and whole, or is refused with a reason."""

from __future__ import annotations

import io
import struct
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from triage.errors import BadPhoto
from triage.imaging import open_upright

FORMATS = ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"]


def save(image: Image.Image, kind: str, **options: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_is_read(encoded: dict[str, bytes], coffee: np.ndarray, kind: str) -> None:
    image = open_upright(encoded[kind])
    assert (image.full_width, image.full_height, image.orientation) == (600, 400, 1)
    assert image.rgb.dtype == np.uint8
    assert np.abs(image.rgb.astype(int) - coffee).mean() < 6


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("share", [0.3, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("long_side_px", [None, 150])
def test_half_a_photo_is_refused(
    encoded: dict[str, bytes], kind: str, share: float, long_side_px: int | None
) -> None:
    whole = encoded[kind]
    with pytest.raises(BadPhoto):
        open_upright(whole[: int(len(whole) * share)], long_side_px)


def test_damaged_png_pixels_are_refused_although_the_file_is_whole(encoded: dict[str, bytes]) -> None:
    # reading a PNG's EXIF loads its pixels; their damage must not be swallowed with damaged EXIF
    png = bytearray(encoded["PNG"])
    at = png.index(b"IDAT") + 4 + 2000
    png[at : at + 400] = bytes(400)
    with pytest.raises(BadPhoto):
        open_upright(bytes(png))


def test_reduced_decode_equals_the_full_one_shrunk(encoded: dict[str, bytes]) -> None:
    reduced = open_upright(encoded["JPEG"], 150)
    full = open_upright(encoded["JPEG"]).rgb
    assert reduced.rgb.shape == (100, 150, 3)
    assert (reduced.full_width, reduced.full_height) == (600, 400)
    expected = full.reshape(100, 4, 150, 4, 3).mean(axis=(1, 3))
    assert np.abs(reduced.rgb - expected).mean() < 2.5


@pytest.mark.parametrize("kind", FORMATS)
def test_never_enlarged(encoded: dict[str, bytes], kind: str) -> None:
    assert open_upright(encoded[kind], 5000).rgb.shape == (400, 600, 3)


def test_sixteen_bits_keep_their_brightness() -> None:
    ramp = np.linspace(0, 65535, 256 * 4).reshape(4, 256).astype(np.uint16)
    image = open_upright(save(Image.fromarray(ramp), "PNG"))
    np.testing.assert_allclose(image.rgb[0, :, 0], ramp[0] / 257, atol=1)


def test_transparent_pixels_are_white() -> None:
    pixels = np.zeros((8, 8, 4), np.uint8)
    pixels[:, 4:] = (200, 10, 20, 255)
    image = open_upright(save(Image.fromarray(pixels), "PNG"))
    assert image.rgb[0, 0].tolist() == [255, 255, 255]
    assert image.rgb[0, 7].tolist() == [200, 10, 20]


def test_palette_with_transparency() -> None:
    picture = Image.new("P", (4, 4), 1)
    picture.putpalette([255, 0, 0, 0, 0, 255])
    image = open_upright(save(picture, "PNG", transparency=0))
    assert image.rgb[0, 0].tolist() == [0, 0, 255]


def test_cmyk() -> None:
    picture = Image.new("CMYK", (32, 32), (0, 255, 255, 0))
    red, green, blue = open_upright(save(picture, "JPEG", quality=95)).rgb[16, 16]
    assert red > 200
    assert max(green, blue) < 60


def test_first_of_several_pages() -> None:
    pages = [Image.new("RGB", (16, 8), color) for color in ("red", "blue")]
    data = save(pages[0], "TIFF", save_all=True, append_images=pages[1:])
    assert open_upright(data).rgb[0, 0].tolist() == [255, 0, 0]
    animated = save(pages[0], "WEBP", save_all=True, append_images=pages[1:], lossless=True)
    assert open_upright(animated).rgb[0, 0].tolist() == [255, 0, 0]


def test_gray_and_one_bit() -> None:
    assert open_upright(save(Image.new("L", (5, 5), 77), "PNG")).rgb[2, 2].tolist() == [77] * 3
    assert open_upright(save(Image.new("1", (5, 5), 1), "PNG")).rgb[2, 2].tolist() == [255] * 3


def test_one_pixel() -> None:
    assert open_upright(save(Image.new("RGB", (1, 1), "green"), "PNG")).rgb.shape == (1, 1, 3)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "empty"),
        (b"hello, this is a note about a deck", "text file"),
        (b"\xff\xd8\xff\xe0rubbish" * 9, "damaged JPEG"),
        (b"\x89PNG\r\n\x1a\n" + b"x" * 60, "damaged PNG"),
        (b"\0\0\0\x18ftypmp42" + b"\0" * 60, "video"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 60, "damaged HEIC"),
        (b"RIFF\0\0\0\0WEBP" + b"\0" * 60, "damaged WebP"),
        (b"II*\0" + b"\xff" * 60, "damaged TIFF"),
        (b"%PDF-1.7\n\x80\x81\x82\x83" * 9, "no JPEG, PNG, HEIC, WebP or TIFF"),
        (b"GIF89a\x01\0\x01\0\0\0\0,\0\0\0\0\x01\0\x01\0\0\x02\x01D\0;", "no JPEG, PNG"),
    ],
)
def test_what_is_no_photo_is_refused_with_its_reason(data: bytes, reason: str) -> None:
    with pytest.raises(BadPhoto, match=reason):
        open_upright(data)


def png_that_claims(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    "size", [(10_001, 10_000), (14_000, 14_000), (60_000, 60_000), (2**31 - 1, 2**31 - 1)]
)
def test_more_pixels_than_the_limit(size: tuple[int, int]) -> None:
    with pytest.raises(BadPhoto, match="limit of 100 megapixels|damaged PNG"):
        open_upright(png_that_claims(*size))


def test_heic_obeys_the_same_limit(monkeypatch: pytest.MonkeyPatch, encoded: dict[str, bytes]) -> None:
    monkeypatch.setattr("triage.imaging.decode.MAX_PIXELS", 100_000)
    with pytest.raises(BadPhoto, match="more than the limit"):
        open_upright(encoded["HEIF"])


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(BadPhoto, match="cannot be read"):
        open_upright(tmp_path / "nothing.jpg")
    with pytest.raises(BadPhoto, match="cannot be read"):
        open_upright(tmp_path)


def test_threads_decode_alike(encoded: dict[str, bytes]) -> None:
    expected = open_upright(encoded["JPEG"], 300).rgb
    with ThreadPoolExecutor(4) as pool:
        for image in pool.map(lambda _: open_upright(encoded["JPEG"], 300), range(16)):
            np.testing.assert_array_equal(image.rgb, expected)


# What each broken sample is, from the projects that collected them (SOURCE.txt beside the samples).
REFUSED = [
    "broken_jpeg/missing-sos.jpg",
    "broken_jpeg/missing-sof.jpg",
    "broken_jpeg/max_size.jpg",
    "broken_jpeg/null_height.jpg",
    "heic_broken/corrupted.heic",
    "heic_broken/empty.heic",
    "pillow/broken.png",
    "pillow/broken_data_stream.png",
    "pillow/truncated_image.png",
    "pillow/truncated_jpeg.jpg",
    "pillow/duplicate_xref_entry.pdf",
    "sharp/corrupt-header.jpg",
    "sharp/truncated.jpg",
    "sharp/truncated.png",
]
READABLE = [
    "heic_phone/IMG_5195.HEIC",
    "heic_libheif/example.heic",
    "heic_bsd/RGB_10__128x128.heif",
    "pillow/frozenpond.mpo",
    "pillow/hopper_bad_exif.jpg",
    "pillow/exif-dpi-zerodivision.jpg",
    "pillow/pil_sample_cmyk.jpg",
    "invalid_exif/image00971.jpg",
    "parser_torture/30-type_error.jpg",
]


@pytest.mark.parametrize("name", REFUSED)
def test_broken_samples_are_refused(exif_samples: Path, name: str) -> None:
    with pytest.raises(BadPhoto):
        open_upright(exif_samples / name, 512)


@pytest.mark.parametrize("name", READABLE)
def test_readable_samples_with_odd_metadata_are_read(exif_samples: Path, name: str) -> None:
    image = open_upright(exif_samples / name, 512)
    assert max(image.rgb.shape) <= 512
    assert image.rgb.std() > 5


@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_canonical_landscapes_look_alike(exif_samples: Path, turn: int) -> None:
    folder = exif_samples / "orientation_canonical_ccbysa"
    first = open_upright(folder / "landscape_1.jpg", 300).rgb
    other = open_upright(folder / f"landscape_{turn}.jpg", 300).rgb
    assert first.shape == other.shape


def test_half_a_photo_is_refused_also_where_another_library_allowed_it(monkeypatch, tmp_path):
    """WeasyPrint, for one, sets this for the whole process when it is imported."""
    from PIL import Image, ImageFile

    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    Image.effect_noise((400, 300), 60).convert("RGB").save(tmp_path / "whole.jpg")
    whole = (tmp_path / "whole.jpg").read_bytes()
    with pytest.raises(BadPhoto):
        open_upright(whole[: len(whole) // 2])
