"""Train: from people's labels and photo vectors to one small model per tag, with what it can promise.

The names below are imported when first used, so that a command that trains nothing starts fast.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
