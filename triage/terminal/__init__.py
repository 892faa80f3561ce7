"""Screens in the terminal. The labeling screen is loaded when it is opened."""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
