"""Presort: suggestions per photo and tag, their piles, and how each tag's promise stands for a batch.

The names below are imported when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.presort.piles import Standing, pile
    from triage.presort.suggesting import standing_of, suggest

__all__ = ["Standing", "pile", "standing_of", "suggest"]

_HOMES = {
    "Standing": "piles",
    "pile": "piles",
    "standing_of": "suggesting",
    "suggest": "suggesting",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"triage.presort.{_HOMES[name]}"), name)
