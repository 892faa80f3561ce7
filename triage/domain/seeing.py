"""How large a photo must be shown before something about it can be answered (our assumptions)."""

from __future__ import annotations

from triage.domain.vocabulary import SHOWS

PART_PX = 150
DEFECT_PX = 360
"""Long side in screen pixels from which on a part, or a defect at it, can be judged (our assumption)."""


def least_px(tag: str) -> int:
    """Return the long side, in pixels on the screen, from which on a tag can be judged in a whole photo."""
    return PART_PX if tag.startswith(SHOWS) else DEFECT_PX
