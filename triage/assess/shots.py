"""What to photograph at a deck, in walking order: the back of its card."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from triage.assess.coverage import needed

_UNTIL_KNOWN = {"has_guard": True, "has_stairs": True, "height_above_grade_ft": 5.0}
"""What is assumed until a fact says otherwise: better to look for a stair that is not there."""


def shot_list(facts: Mapping[str, Any]) -> list[str]:
    """Return what the person on site is asked to photograph, one line for each element that may be there."""
    return [need.ask for need in needed({**_UNTIL_KNOWN, **facts})]
