"""Drafts: a file or folder made next to its final place, and the removal of what a killed program left.

The writer holds a lock on its draft for as long as it lives, so a draft that nobody holds is left over and
may be deleted.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

fcntl: Any = importlib.import_module("fcntl") if importlib.util.find_spec("fcntl") else None
"""Null where the system is no Unix: drafts cannot be locked there, so none is ever taken for left over."""


@contextmanager
def draft_of(target: Path) -> Iterator[Path]:
    """Make a hidden folder beside `target` for one writer; it is gone afterward unless it was renamed.

    Left-over drafts of the same target are deleted first. Raises OSError.
    """
    sweep(target)
    target.parent.mkdir(parents=True, exist_ok=True)
    draft = target.parent / f".{target.name[:40]}.{secrets.token_hex(4)}.tmp"
    draft.mkdir(mode=0o700)
    handle = _lock(draft)
    try:
        yield draft
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        if handle is not None:
            os.close(handle)


def sweep(target: Path) -> list[Path]:
    """Delete the drafts of a target that no living program holds, and return them."""
    return _sweep(target.parent, f".{_literal(target.name[:40])}.????????.tmp")


def sweep_folder(folder: Path) -> list[Path]:
    """Delete every draft in a folder, file or folder, that no living program holds, and return them."""
    return _sweep(folder, ".*.????????.tmp")


def hold(handle: int) -> None:
    """Lock an open draft until it is closed, so that no other program takes it for left over."""
    if fcntl is not None:
        with suppress(OSError):  # a network folder without locks: nothing is swept there either
            fcntl.flock(handle, fcntl.LOCK_EX)


def _sweep(folder: Path, pattern: str) -> list[Path]:
    found = []
    for draft in sorted(folder.glob(pattern)):
        handle = _lock(draft) if not draft.is_symlink() and (draft.is_dir() or draft.is_file()) else None
        if handle is not None:
            if draft.is_dir():
                shutil.rmtree(draft, ignore_errors=True)
            else:
                draft.unlink(missing_ok=True)
            os.close(handle)
            found.append(draft)
    return found


def _literal(name: str) -> str:
    return "".join(f"[{char}]" if char in "*?[" else char for char in name)


def _lock(folder: Path) -> int | None:
    """Return a handle that holds the folder's lock, or null where another program holds it."""
    if fcntl is None:
        return None
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        return None
    return handle
