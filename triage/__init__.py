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

import lazy_loader

os.environ["ORT_DISABLE_TELEMETRY"] = "1"
# ONNX Runtime looks up its maker's host unless this stands before its import; workers import this file first.

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
