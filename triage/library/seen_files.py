"""A cache of files that were hashed before, so that a second run need not read them again.

A file counts as the same when path, size, change time and inode are; the cache may be deleted.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from pathlib import Path


class SeenFiles:
    """Maps (path, size, change time) to SHA-256."""

    def __init__(self, file: Path) -> None:
        self._connection = self._open_somehow(file)
        self._known = {
            (path, size, stamp): sha
            for path, size, stamp, sha in self._connection.execute("SELECT path, size, stamp, sha FROM seen")
        }
        self._new: list[tuple[str, int, str, str]] = []

    @classmethod
    def _open_somehow(cls, file: Path) -> sqlite3.Connection:
        """Open the file, a fresh one where it is damaged, or none at all: a cache never stops the work."""
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            try:
                return cls._open(file)
            except sqlite3.DatabaseError:
                file.unlink(missing_ok=True)
                return cls._open(file)
        except (OSError, sqlite3.Error):
            return cls._open(":memory:")

    @staticmethod
    def _open(file: Path | str) -> sqlite3.Connection:
        connection = sqlite3.connect(file, timeout=60)
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute(
            "CREATE TABLE IF NOT EXISTS seen"
            " (path TEXT, size INTEGER, stamp TEXT, sha TEXT, PRIMARY KEY (path, size, stamp))"
        )
        return connection

    @staticmethod
    def _key(path: Path) -> tuple[str, int, str]:
        facts = path.stat()
        name = os.fsencode(path.resolve()).decode("utf-8", "backslashreplace")
        return name, facts.st_size, f"{facts.st_mtime_ns}-{facts.st_ctime_ns}-{facts.st_ino}"

    def get(self, path: Path) -> str | None:
        """Return the hash of a file that has not changed since it was hashed, or null."""
        return self._known.get(self._key(path))

    def put(self, path: Path, sha: str) -> None:
        """Remember a file's hash; written by `flush`."""
        self._new.append((*self._key(path), sha))

    def flush(self) -> None:
        """Write what is new; where it cannot be written, those files will be hashed again."""
        with suppress(sqlite3.OperationalError), self._connection:
            self._connection.executemany("INSERT OR REPLACE INTO seen VALUES (?, ?, ?, ?)", self._new)
        self._new.clear()

    def close(self) -> None:
        """Write what is new and let go of the file."""
        self.flush()
        self._connection.close()
