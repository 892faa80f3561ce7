"""From evidence to a risk summary per deck: rules, coverage, combining photos, order, visits compared.

Names are imported on first use, because the mathematics takes a moment to load.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
