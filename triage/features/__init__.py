"""Embed: photos to vectors by a frozen network, kept in a cache that may be deleted at any time.

The names below are imported when first used, so that a command that embeds nothing starts fast.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
