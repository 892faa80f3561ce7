"""The libraries of the page: folders right below one home folder, opened and made by name."""

from __future__ import annotations

import re
import threading
from pathlib import Path

from triage.errors import BadInput, NoLibrary
from triage.library import Library
from triage.library.migrate import LIBRARY_FILE
from triage.platforms import is_own_file

_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _.-]{0,62}[A-Za-z0-9_-])?")
_RESERVED = re.compile(r"(?i)(?:con|prn|aux|nul|com\d|lpt\d)(?:\..*)?")


def check_name(name: str) -> str:
    """Return a library's name. Raises BadInput for one that could be anything but a folder's plain name."""
    name = name.strip()
    if not _NAME.fullmatch(name) or ".." in name or _RESERVED.fullmatch(name):
        raise BadInput(
            f"{name[:80]!r} cannot be a library's name.",
            "Use letters, digits, spaces, points, hyphens and underscores, at most 64, e.g. season-2026.",
        )
    return name


class Home:
    """One folder with libraries in it, each opened once and kept open."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._open: dict[str, Library] = {}

    def names(self) -> list[str]:
        """Return the names of the libraries that this user owns, in order."""
        if not self.folder.is_dir():
            return []
        return sorted(one.name for one in self.folder.iterdir() if self._is_ours(one))

    def _is_ours(self, folder: Path) -> bool:
        if not _NAME.fullmatch(folder.name) or folder.is_symlink():
            return False
        file = folder / LIBRARY_FILE
        return file.is_file() and not file.is_symlink() and is_own_file(file)

    def library(self, name: str) -> Library:
        """Return an open library. Raises NoLibrary where there is none of this name and user."""
        with self._lock:
            if name in self._open:
                return self._open[name]
            folder = self.folder / check_name(name)
            if folder.parent != self.folder or not self._is_ours(folder):
                raise NoLibrary(f"There is no library {name!r} here.", "Choose one of the list, or make it.")
            self._open[name] = Library.open(folder)
            return self._open[name]

    def make(self, name: str) -> Library:
        """Make an empty library. Raises BadInput for a name that is taken or cannot be one."""
        name = check_name(name)
        folder = self.free_name(name)
        with self._lock:
            self._open[name] = Library.create(folder)
            return self._open[name]

    def free_name(self, name: str) -> Path:
        """Return the folder that a new library of this name would have. Raises BadInput where it is taken."""
        folder = self.folder / check_name(name)
        if folder.exists() or folder.is_symlink():
            raise BadInput(f"There is something named {name!r} already.", "Choose another name.")
        return folder

    def close(self) -> None:
        """Let go of every database."""
        with self._lock:
            for library in self._open.values():
                library.close()
            self._open.clear()
