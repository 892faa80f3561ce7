"""The library: event log, folds of it, photo store.

`Library` is imported on first use, because the database toolkit takes a moment to load.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
