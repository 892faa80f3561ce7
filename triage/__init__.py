"""Photo-based defect triage for existing residential wood decks.

Everything the commands do is a call here; names are imported when first used:

    import triage
    with triage.Library.open("season-2026") as library:
        triage.ingest_photos(library, ["card/"], by="ann")
        for deck in triage.assess_library(library):
            print(deck.deck, deck.tier, deck.gaps, deck.reason)
"""

from __future__ import annotations

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

from triage.version import __version__ as __version__

os.environ["ORT_DISABLE_TELEMETRY"] = "1"
# ONNX Runtime looks up its maker's host unless this stands before its import; workers import this file first.

if TYPE_CHECKING:
    from triage.assess import assess_library
    from triage.exchange import export_library, merge_libraries
    from triage.ingest.ingest import ingest as ingest_photos
    from triage.label.rows import give_labels, settle, store_rows
    from triage.library import Library
    from triage.presort.of_library import presort_library
    from triage.report import verify_report, write_report
    from triage.structure import run_checks
    from triage.structure.telling import read_facts, set_facts
    from triage.train.of_library import train_library

_HOMES = {
    "Library": "triage.library",
    "assess_library": "triage.assess",
    "export_library": "triage.exchange",
    "give_labels": "triage.label.rows",
    "ingest_photos": "triage.ingest",
    "merge_libraries": "triage.exchange",
    "presort_library": "triage.presort.of_library",
    "read_facts": "triage.structure.telling",
    "run_checks": "triage.structure",
    "set_facts": "triage.structure.telling",
    "settle": "triage.label.rows",
    "store_rows": "triage.label.rows",
    "train_library": "triage.train.of_library",
    "verify_report": "triage.report",
    "write_report": "triage.report",
}

_NAMES = {"ingest_photos": "ingest"}
"""A name of a function that differs from ours, because a room has ours."""

__all__ = [
    "Library",
    "assess_library",
    "export_library",
    "give_labels",
    "ingest_photos",
    "merge_libraries",
    "presort_library",
    "read_facts",
    "run_checks",
    "set_facts",
    "settle",
    "store_rows",
    "train_library",
    "verify_report",
    "write_report",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'triage' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), _NAMES.get(name, name))
