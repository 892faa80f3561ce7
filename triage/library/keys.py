"""What a row of the projections is about: rows of one key replace each other."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

DECIDED = ("fact", "tier", "settled", "deck-set")
"""Statements of which one stands at a time; of those said in several libraries the later one."""


def label_key(payload: Mapping[str, Any], speaker: str) -> str:
    """Return the key of a label: one photo x tag x person (by reference)."""
    return f"{payload['photo']}|{payload['tag']}|{speaker}"


def statement_key(kind: str, payload: Mapping[str, Any], own: str) -> str:
    """Return the key of a statement; `own` stands for one that replaces no other."""
    parts: dict[str, Callable[[], list[Any]]] = {
        "fact": lambda: [payload["deck"], payload.get("visit"), payload["key"]],
        "tier": lambda: [payload["deck"], payload.get("visit")],
        "settled": lambda: [payload["photo"], payload["tag"]],
        "deck-set": lambda: [payload["deck"], payload["field"]],
        "tag-added": lambda: [payload["tag"]],
        "presorted": lambda: [payload["model"]],
        "asked": lambda: [payload["question"]],
        "set-aside": lambda: [payload["file_id"]],
        "set-aside-done": lambda: [payload["file_id"]],
    }
    what = parts[kind]() if kind in parts else [own]
    return json.dumps([kind, *what])
