"""Mutated photo files: each is accepted upright or set aside with a reason; no crash, no hang.

Two hundred a format in the everyday run, two thousand with `tools/test --long`. The files are made from real
samples where they are there, else from drawn ones.
"""

import contextlib
import io
import random
import time

import pillow_heif
import pytest
from common import SHARED, draw_photo
from long_runs import LONG, cases
from PIL import Image

from triage.batch import Failed, Ok, map_items
from triage.errors import BadPhoto
from triage.imaging import examine, open_upright
from triage.ingest.exif import read_exif

EACH = cases(80, 2000)
LIMIT_S = 5.0 if LONG else 20.0
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
SUFFIX = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".tiff", "HEIF": ".heic"}


def source(tmp_path, kind: str) -> bytes:
    pillow_heif.register_heif_opener(thumbnails=False)
    real = sorted((SHARED / "photos" / "exif" / "gps").glob("*.jpg"))
    with Image.open(real[0] if real else draw_photo(tmp_path / "drawn.jpg", seed=1)) as image:
        image.thumbnail((320, 320))
        out = io.BytesIO()
        exif = image.getexif()
        image.convert("RGB").save(out, kind, exif=exif.tobytes())
    return out.getvalue()


def mutated(data: bytes, draw: random.Random) -> bytes:
    way = draw.randrange(5)
    out = bytearray(data)
    if way == 0:
        return bytes(out[: draw.randrange(1, len(out))])
    if way == 1:  # header and EXIF bytes
        for _ in range(draw.randrange(1, 12)):
            out[draw.randrange(min(len(out), 600))] = draw.randrange(256)
    elif way == 2:
        for _ in range(draw.randrange(1, 40)):
            out[draw.randrange(len(out))] ^= 1 << draw.randrange(8)
    elif way == 3:
        at = draw.randrange(len(out))
        out[at:at] = draw.randbytes(draw.randrange(1, 300))
    else:
        at = draw.randrange(len(out))
        del out[at : at + draw.randrange(1, 400)]
    return bytes(out)


def look(path):
    """What a worker does with an offered file: EXIF, then pixels."""
    read_exif(path)
    seen = examine(path)
    again = open_upright(seen.rendition_jpeg)
    return seen.width, seen.height, again.rgb.shape


def look_timed(path) -> float:
    """Seconds of the processor that looking took, whatever came of it."""
    begun = time.process_time()
    with contextlib.suppress(BadPhoto):
        look(path)
    return time.process_time() - begun


@pytest.mark.parametrize("kind", FORMATS)
def test_every_mutated_file_is_accepted_or_set_aside_with_a_reason(tmp_path, kind):
    data = source(tmp_path, kind)
    draw = random.Random(kind)
    paths = []
    for number in range(EACH):
        path = tmp_path / f"{number:05}{SUFFIX[kind]}"
        path.write_bytes(mutated(data, draw) if number else data)  # the first one is sound
        paths.append(path)
    accepted, slow = [], []
    for outcome in map_items(look, paths, timeout_s=LIMIT_S):
        if isinstance(outcome, Ok):
            accepted.append(outcome.item)
            width, height, shape = outcome.value
            assert min(width, height) >= 1
            assert shape[2] == 3
        else:
            assert isinstance(outcome, Failed)
            assert outcome.reason.strip()
            assert "crash" not in outcome.reason, outcome
            if "longer than" in outcome.reason:
                slow.append(outcome.item)
    # no hang: what ran out of time beside other programs ends by itself, and needs no more of the processor
    for again in map_items(look_timed, slow, timeout_s=60 * LIMIT_S):
        assert isinstance(again, Ok), again
        assert again.value < LIMIT_S, again
    assert paths[0] in accepted
    assert len(accepted) < EACH
