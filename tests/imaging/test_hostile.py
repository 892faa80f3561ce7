"""Mutated and absurd files: read upright or refused with a reason, quickly, and in bounded memory."""

from __future__ import annotations

import io
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from triage.errors import BadPhoto
from triage.imaging import examine, open_upright, strip_metadata

MUTATIONS_A_FORMAT = 200
SLOWEST_S = 5.0
MOST_MEGABYTES = 1536


def mutated(data: bytes, seed: int) -> bytes:
    """Cut, flip, repeat or overwrite some bytes; more often near the start, where headers are."""
    rng = np.random.default_rng(seed)
    changed = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        reach = len(changed) if rng.random() < 0.5 else min(len(changed), 700)
        at = int(rng.integers(0, max(1, reach)))
        kind = rng.integers(0, 5)
        if kind == 0:
            changed = changed[: max(1, at)]
        elif kind == 1:
            changed[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 2:
            changed[at : at + 4] = rng.integers(0, 256, 4, dtype=np.uint8).tobytes()
        elif kind == 3:
            changed[at : at + 4] = b"\xff\xff\xff\xff"
        else:
            changed[at:at] = changed[at : at + 50]
    return bytes(changed)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_mutated_files_are_read_or_refused(encoded: dict[str, bytes], kind: str) -> None:
    small = Image.open(io.BytesIO(encoded[kind])).convert("RGB").resize((150, 100))
    exif = Image.Exif()
    exif[0x0112] = 6
    buffer = io.BytesIO()
    small.save(buffer, kind, exif=exif)
    read = refused = 0
    for seed in range(MUTATIONS_A_FORMAT):
        start = time.perf_counter()
        try:
            image = open_upright(mutated(buffer.getvalue(), seed), 64)
        except BadPhoto:
            refused += 1
        else:
            assert image.rgb.dtype == np.uint8
            assert image.rgb.ndim == 3
            read += 1
        assert time.perf_counter() - start < SLOWEST_S
    assert read + refused == MUTATIONS_A_FORMAT
    assert refused > 20


def test_mutated_jpegs_are_stripped_or_refused(encoded: dict[str, bytes]) -> None:
    for seed in range(MUTATIONS_A_FORMAT):
        try:
            stripped = strip_metadata(mutated(encoded["JPEG"], seed))
        except BadPhoto:
            continue
        assert strip_metadata(stripped) == stripped


LARGE = """
import io, sys
from PIL import Image
from triage.imaging import examine
mode, kind, width, height = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
data = sys.stdin.buffer.read()
seen = examine(data)
assert (seen.width, seen.height) == (width, height), (seen.width, seen.height)
# The peak of this process alone. `ru_maxrss` would not do: a child starts with its parent's peak, which it
# inherits over fork and exec, and a worker that has run many tests has a large one. VmHWM belongs to the
# memory that exec has made again.
status = dict(line.split(":", 1) for line in open("/proc/self/status"))
print(int(status["VmHWM"].split()[0]) // 1024)
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak is read from Linux's /proc")
@pytest.mark.parametrize(
    ("mode", "kind"),
    [
        ("RGBA", "PNG"),
        pytest.param("P", "PNG", marks=pytest.mark.long),
        pytest.param("I;16", "PNG", marks=pytest.mark.long),
        pytest.param("RGB", "JPEG", marks=pytest.mark.long),
    ],
)
def test_a_hundred_megapixels_fit(mode: str, kind: str) -> None:
    width, height = 12_500, 8_000
    buffer = io.BytesIO()
    options = {"compress_level": 1} if kind == "PNG" else {}
    Image.new(mode, (width, height), 0 if mode in ("P", "I;16") else None).save(buffer, kind, **options)
    command = [sys.executable, "-c", LARGE, mode, kind, str(width), str(height)]
    done = subprocess.run(command, input=buffer.getvalue(), capture_output=True, check=True)
    assert int(done.stdout) < MOST_MEGABYTES


def test_a_photo_of_one_row() -> None:
    buffer = io.BytesIO()
    Image.new("RGB", (20_000, 1), "red").save(buffer, "PNG")
    seen = examine(buffer.getvalue())
    assert (seen.width, seen.height) == (20_000, 1)
