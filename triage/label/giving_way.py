"""A deck in which an urgent tag was found gives way: its other urgent photos come after the urgent lists.

One rule for the terminal and for the page. It only moves questions: which ones are asked stays the same, what
was answered or passed keeps its place, and a photo that is being asked about is asked to its end.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from triage.label.order import Question


def finds(values: Mapping[str, str], urgent: Collection[str]) -> bool:
    """Say whether answers about a photo, by tag, find its deck: an urgent tag is there."""
    return any(value == "present" and tag in urgent for tag, value in values.items())


def given_way(
    asked: Sequence[Question], found: Question, passed: Collection[tuple[str, str]]
) -> tuple[list[Question], int]:
    """Return the questions after a deck was found, and how many photos moved behind the urgent lists.

    Parameters
    ----------
    found : the question that was answered with an urgent tag's 'present'.
    passed : (photo, tag) of questions that keep their place.
    """
    later = [
        one
        for one in asked
        if one.urgent
        and one.photo.deck == found.photo.deck
        and one.photo.sha != found.photo.sha
        and (one.photo.sha, one.tag) not in passed
    ]
    if not later:
        return list(asked), 0
    moved = {(one.photo.sha, one.tag) for one in later}
    kept = [one for one in asked if (one.photo.sha, one.tag) not in moved]
    behind = 1 + max(place for place, one in enumerate(kept) if one.urgent or one == found)
    run = [*kept[:behind], *(replace(one, urgent=False) for one in later), *kept[behind:]]
    return run, len({one.photo.sha for one in later})
