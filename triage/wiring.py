"""Which modules hear of every change to a library; they are imported at the first change."""

from __future__ import annotations

CHANGE_LISTENERS: tuple[str, ...] = ("triage.assess.cache.stale",)
"""Modules with the functions of `triage.library.listeners.ChangeListener`."""
