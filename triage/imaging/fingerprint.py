"""Look-alikes: the PDQ perceptual hash, and its distance over the four rotations."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

HASH_LONG_SIDE_PX = 512  # what PDQ's reference program shrinks photos to
LOOK_ALIKE_BITS = 31
"""Distance at or below which two photos are look-alikes: the threshold that PDQ's authors propose
(The TMK+PDQF video-hashing algorithm and the PDQ image-hashing algorithm, 2019: 31 of 256 bits)."""


def perceptual_hash(rgb: NDArray[np.uint8]) -> str:
    """Return the PDQ hash of an upright photo as 64 hex digits; ``rgb`` is (H, W, 3) uint8."""
    return perceptual_hashes(rgb)[0]


def perceptual_hashes(rgb: NDArray[np.uint8]) -> tuple[str, str, str, str]:
    """Return the PDQ hashes of a photo turned by 0, 90, 180 and 270 degrees counter-clockwise.

    PDQ turns its frequency block instead of the photo, so the four cost as much as one.
    """
    import pdqhash

    turns, _quality = pdqhash.compute_dihedral(np.ascontiguousarray(rgb))
    first, second, third, fourth = (_hex(bits) for bits in turns[:4])
    return first, second, third, fourth


def _hex(bits: NDArray[np.uint8]) -> str:
    return np.packbits(np.asarray(bits, np.uint8)).tobytes().hex()


def hash_distance(first: str, second: str) -> int:
    """Return in how many of 256 bits two hashes differ."""
    return (int(first, 16) ^ int(second, 16)).bit_count()


def turned_distance(phash: str, turned: Sequence[str]) -> int:
    """Return the smallest distance between one photo's hash and those of another's rotations."""
    return min(hash_distance(phash, other) for other in turned)
