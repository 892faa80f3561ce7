"""The exchange room: open formats out, foreign label files in, libraries grown together.

The functions are imported on first use.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
