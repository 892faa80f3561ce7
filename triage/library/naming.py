"""How people name photos: no two of them alike, and so that each is found again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from triage.library.records import Photo


def distinct_names(photos: Iterable[Photo]) -> dict[str, str]:
    """Name each photo by hash so that no two of them are named alike, and so that `photo` finds it again.

    `deck/name`, with the visit between where another one is called so too, the hash where that is not enough.
    """
    every = list({one.sha: one for one in photos}.values())
    uses = Counter(one.path_name for one in every)
    dated = Counter(dated_name(one) for one in every)
    return {
        one.sha: one.path_name
        if uses[one.path_name] == 1
        else dated_name(one)
        if one.visit and dated[dated_name(one)] == 1
        else one.sha[:12]
        for one in every
    }


def dated_name(photo: Photo) -> str:
    """Return `deck/visit/name`."""
    return f"{photo.deck}/{photo.visit}/{photo.name}"
