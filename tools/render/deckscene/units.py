"""Inches, feet and the actual (dressed) sizes of nominal lumber; the scene itself is in metres."""

from __future__ import annotations

from .errors import RenderError

IN = 0.0254
FT = 0.3048

#: Dressed sizes in inches of nominal sizes (PS 20, American Softwood Lumber Standard, table 3, from memory).
_DRESSED_IN = {2: 1.5, 4: 3.5, 6: 5.5, 8: 7.25, 10: 9.25, 12: 11.25}


def dressed_m(nominal: str) -> tuple[float, float]:
    """Thickness and width in metres of a nominal size such as '2x8'.

    Raises:
        RenderError: the size is not a nominal lumber size.
    """
    try:
        thick, wide = (int(word) for word in nominal.split("x"))
        narrow_in, wide_in = _DRESSED_IN[thick], _DRESSED_IN[wide]
    except (ValueError, KeyError):
        raise RenderError(
            f"'{nominal}' is not a lumber size.", "Write it as thickness x width: 2x8, 4x4, 6x6."
        ) from None
    if thick == wide == 6:
        return 5.5 * IN, 5.5 * IN
    return narrow_in * IN, wide_in * IN
