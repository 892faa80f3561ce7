"""Finds and checks what the wheel ships: the frozen network and the frozen projection, each with its card."""

from __future__ import annotations

import tomllib
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from triage.errors import Damaged

_HINT = "Install deck-triage again, or run `python -m tools.build_backbone` in a checkout."


@cache
def models_dir() -> Path:
    """Return the folder of the shipped models: inside the installed package, or the checkout's.

    Raises
    ------
    Damaged
        when neither is there.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_models", package.parent / "models"):
        if folder.is_dir():
            return folder
    raise Damaged("The models folder of deck-triage is missing.", _HINT)


def read_card(name: str, folder: Path | None = None) -> dict[str, Any]:
    """Return the card (TOML) of the shipped file ``name``."""
    path = ((folder or models_dir()) / name).with_suffix(".toml")
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Damaged(f"The card {path.name} of a shipped model is missing or damaged.", _HINT) from error


def read_checked(name: str, folder: Path | None = None) -> tuple[bytes, str]:
    """Return the bytes and the SHA-256 of the shipped file ``name``.

    Raises
    ------
    Damaged
        when the file is missing, or its SHA-256 is not the one in its card.
    """
    card = read_card(name, folder)
    path = (folder or models_dir()) / name
    try:
        if path.stat().st_size != card["bytes"]:
            raise Damaged(f"{name} is not the file that its card describes; it is not used.", _HINT)
        data = path.read_bytes()
    except OSError as error:
        raise Damaged(f"The shipped model {name} cannot be read.", _HINT) from error
    digest = sha256(data).hexdigest()
    if digest != card["sha256"]:
        raise Damaged(f"{name} is not the file that its card describes; it is not used.", _HINT)
    return data, digest
