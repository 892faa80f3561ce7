"""The audit room: agreement, doubtful labels, samples, missed defects.

The statistics are pure functions on arrays; `agree`, `doubts`, `sample` and `missed` read a library. They are
imported on first use, because the numerical libraries take a moment to load.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.audit.agreeing import agree
    from triage.audit.doubting import doubts
    from triage.audit.of_library import missed
    from triage.audit.sampling import sample

_HOMES = {
    "agree": "agreeing",
    "doubts": "doubting",
    "missed": "of_library",
    "sample": "sampling",
}

__all__ = ["agree", "doubts", "missed", "sample"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        import importlib

        return getattr(importlib.import_module(f"triage.audit.{_HOMES[name]}"), name)
    raise AttributeError(name)
