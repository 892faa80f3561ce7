"""Presort: suggestions per photo and tag, their piles, and the status of each tag's promise for a batch.

The names below are imported when first used.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
