"""Screens in the terminal. The labelling screen is loaded when it is opened."""

from __future__ import annotations

from typing import Any

__all__ = ["ask_in_terminal", "ask_these"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from triage.terminal import ask

        return getattr(ask, name)
    raise AttributeError(name)
