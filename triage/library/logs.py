"""The program's own log in `logs/triage.log` of a library: what went wrong, without anybody's private text.

A traceback is kept as its frames (file, line, function) and the error's type; the error's message may quote a
name, a note or a path, so it stays out. Each entry has a short id, which is what a person is shown.
"""

from __future__ import annotations

import logging
import secrets
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from logging.handlers import RotatingFileHandler
from pathlib import Path

FOLDER, FILE = "logs", "triage.log"
MOST_BYTES, KEPT_FILES = 500_000, 3
_LOGGER = logging.getLogger("triage")


def log_error(folder: Path | None, error: BaseException, doing: str) -> str:
    """Write an error's type and frames to the log of a library's folder; returns the entry's id.

    doing : what the program was at, in its own words, such as "job train": no text of a user.
    A log that cannot be written stops nothing: the id is returned all the same.
    """
    entry = secrets.token_hex(4)
    frames = "".join(
        f"\n  {Path(frame.filename).name}:{frame.lineno} {frame.name}"
        for frame in traceback.extract_tb(error.__traceback__)
    )
    with _written_to(folder):
        _LOGGER.error("%s %s: %s%s", entry, doing, type(error).__name__, frames)
    return entry


@contextmanager
def _written_to(folder: Path | None) -> Iterator[None]:
    """Have what is logged inside go to a library's log, if there is a library that can be written."""
    handler: logging.Handler = logging.NullHandler()
    if folder is not None:
        try:
            (folder / FOLDER).mkdir(mode=0o700, exist_ok=True)
            handler = RotatingFileHandler(
                folder / FOLDER / FILE, maxBytes=MOST_BYTES, backupCount=KEPT_FILES, encoding="utf-8"
            )
        except OSError:
            handler = logging.NullHandler()
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    _LOGGER.addHandler(handler)
    try:
        yield
    finally:
        _LOGGER.removeHandler(handler)
        handler.close()
