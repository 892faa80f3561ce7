"""Imaging: files to upright pixels, renditions without private data, and how good a photo is.

`triage.imaging.decode` opens, `triage.imaging.rendition` writes, `triage.imaging.quality` measures,
`triage.imaging.fingerprint` finds look-alikes, `triage.imaging.examine` does all of it with one decode.
"""

from triage.imaging.decode import UprightImage, open_upright
from triage.imaging.examine import Examined, examine
from triage.imaging.fingerprint import LOOK_ALIKE_BITS, hash_distance, perceptual_hash, turned_distance
from triage.imaging.quality import measure_quality
from triage.imaging.rendition import make_rendition, strip_metadata

__all__ = [
    "LOOK_ALIKE_BITS",
    "Examined",
    "UprightImage",
    "examine",
    "hash_distance",
    "make_rendition",
    "measure_quality",
    "open_upright",
    "perceptual_hash",
    "strip_metadata",
    "turned_distance",
]
