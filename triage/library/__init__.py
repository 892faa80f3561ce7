"""The library: event log, folds of it, photo store.

`Library` is imported on first use, because the database toolkit takes a moment to load.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.library.library import ANY_VISIT, Library
    from triage.library.log import Event, EventDraft

__all__ = ["ANY_VISIT", "Event", "Library", "EventDraft"]


def __getattr__(name: str) -> Any:
    if name in ("Library", "ANY_VISIT"):
        from triage.library import library

        return getattr(library, name)
    if name in ("Event", "EventDraft"):
        from triage.library import log

        return getattr(log, name)
    raise AttributeError(name)
