"""Screens in the terminal. The labelling screen is loaded when it is opened."""

from __future__ import annotations

from typing import Any

__all__ = ["ask_in_terminal"]


def __getattr__(name: str) -> Any:
    if name == "ask_in_terminal":
        from triage.screens.ask import ask_in_terminal

        return ask_in_terminal
    raise AttributeError(name)
