"""The exchange room: open formats out, foreign label files in, libraries grown together.

The functions are imported on first use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.exchange.export import export_library
    from triage.exchange.merge import MergeResult, merge_libraries
    from triage.exchange.reading import read_labels_file

_HOMES = {
    "export_library": "export",
    "MergeResult": "merge",
    "merge_libraries": "merge",
    "read_labels_file": "reading",
}

__all__ = ["MergeResult", "export_library", "merge_libraries", "read_labels_file"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        import importlib

        return getattr(importlib.import_module(f"triage.exchange.{_HOMES[name]}"), name)
    raise AttributeError(name)
