"""The audit room: agreement, doubtful labels, samples, missed defects.

The statistics are pure functions on arrays; `agree`, `doubts`, `sample` and `missed` read a library. They are
imported on first use, because the numerical libraries take a moment to load.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
