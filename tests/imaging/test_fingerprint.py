"""Look-alikes are found however they were saved or turned; other photos are not."""

from __future__ import annotations

import io

import numpy as np
import pytest
import skimage.data
from PIL import Image

from triage.imaging import LOOK_ALIKE_BITS, examine, hash_distance, turned_distance
from triage.imaging.fingerprint import perceptual_hash, perceptual_hashes


def saved(rgb: np.ndarray, **options: object) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(rgb).save(buffer, "JPEG", **options)
    return buffer.getvalue()


def test_saving_smaller_and_worse_is_a_look_alike(coffee: np.ndarray) -> None:
    first = examine(saved(coffee, quality=95))
    small = np.asarray(Image.fromarray(coffee).resize((300, 200)))
    assert hash_distance(first.phash, examine(saved(small, quality=50)).phash) <= LOOK_ALIKE_BITS


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_a_turned_photo_is_a_look_alike(coffee: np.ndarray, quarter: int) -> None:
    first = examine(saved(coffee, quality=95))
    turned = examine(saved(np.ascontiguousarray(np.rot90(coffee, quarter)), quality=80))
    assert hash_distance(first.phash, turned.phash) > LOOK_ALIKE_BITS
    assert turned_distance(turned.phash, (first.phash, *first.phash_turned)) <= LOOK_ALIKE_BITS


def test_other_photos_are_not(coffee: np.ndarray) -> None:
    others = [skimage.data.chelsea(), skimage.data.astronaut()]
    hashes = [perceptual_hashes(np.asarray(photo)) for photo in (coffee, *others)]
    for number, one in enumerate(hashes):
        for other in hashes[number + 1 :]:
            assert turned_distance(one[0], other) > 2 * LOOK_ALIKE_BITS


def test_hash_is_256_bits_in_hex(coffee: np.ndarray) -> None:
    phash = perceptual_hash(coffee)
    assert len(phash) == 256 // 4
    assert hash_distance(phash, phash) == 0
    assert hash_distance("00" * 32, "ff" * 32) == 256
