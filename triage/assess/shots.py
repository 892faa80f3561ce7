"""What to photograph at a deck, in walking order: the back of its card."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from triage.assess.coverage import needed


def shot_list(facts: Mapping[str, Any]) -> list[str]:
    """Return what the person on site is asked to photograph, one line for each element that may be there."""
    return [need.ask for need in needed(facts)]
