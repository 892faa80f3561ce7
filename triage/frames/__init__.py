"""A library's tables as pandas DataFrames.

    import triage
    from triage import frames

    with triage.Library.open("season-2026") as library:
        labels = frames.labels(library)
        print(labels.groupby(["tag", "value"]).size())

Each function documents its columns with dtypes and units; `TABLES` holds the same as data. Every dtype can
hold a missing value. Names of people and free text stand in these tables as they stand in the library: to
hand data on, use `export_library`, which leaves them out unless asked. pandas is imported on the first call.
"""

from __future__ import annotations

from triage.frames.columns import DTYPES, TABLES, Column, Typed, typed_columns
from triage.frames.of_library import (
    concerns,
    coverage,
    decks,
    facts,
    labels,
    photos,
    suggestions,
    words,
)

__all__ = [
    "DTYPES",
    "TABLES",
    "Column",
    "Typed",
    "concerns",
    "coverage",
    "decks",
    "facts",
    "labels",
    "photos",
    "suggestions",
    "typed_columns",
    "words",
]
