"""Imaging: files to upright pixels, renditions without private data, and how good a photo is.

`triage.imaging.decode` opens, `triage.imaging.rendition` writes, `triage.imaging.quality` measures,
`triage.imaging.fingerprint` finds look-alikes, `triage.imaging.examine` does all of it with one decode.
"""

from triage.imaging.decode import UprightImage, open_upright

__all__ = ["UprightImage", "open_upright"]
