"""What can go wrong, with the exit code and the mend.

Every error that a user may see derives from `TriageError`: one clear sentence, a hint that says what
to do next, and the exit code of the command. The command line prints them; the rooms only raise them.
"""

from __future__ import annotations

import errno

DONE = 0
COULD_NOT = 1
WRONG_USAGE = 2
PARTLY = 3
INTERRUPTED = 130


class TriageError(Exception):
    """Something could not be done; `str(error)` is one clear sentence and `hint` says how to mend it."""

    exit_code = COULD_NOT

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.hint = hint


class BadInput(TriageError):
    """A file, field or value that cannot be taken; the message names it."""


class BadPhoto(TriageError):
    """A file that is no readable photo; it becomes a row with this reason, never the end of a batch."""

    @property
    def reason(self) -> str:
        """Why the photo was set aside."""
        return str(self)


class NoLibrary(TriageError):
    """No library where one was expected."""


class Damaged(TriageError):
    """Something stored does not match its hash or its format."""


class NotWritten(TriageError):
    """The library cannot be written now: it is read-only, the disk is full, or another program holds it."""


class WrongUsage(TriageError):
    """The words of the command do not fit."""

    exit_code = WRONG_USAGE


NO_MEMORY = "There is not enough memory for this; what was finished is kept."
_NO_MEMORY_OF_OPENCV = -4
"""`cv2.Error.StsNoMem`, written here so that nothing has to import OpenCV to ask."""


def is_short_of_memory(error: BaseException) -> bool:
    """Return whether an error says that there was not enough memory; each library has its own way."""
    if isinstance(error, MemoryError) or (isinstance(error, OSError) and error.errno == errno.ENOMEM):
        return True
    if isinstance(error, RuntimeError) and "can't start new thread" in str(error):  # it has no kind
        return True
    library = type(error).__module__.partition(".")[0]
    if library == "cv2":
        return getattr(error, "code", None) == _NO_MEMORY_OF_OPENCV
    # ONNX Runtime has no code for it: its arena says "Failed to allocate", C++ says "bad allocation"
    return library == "onnxruntime" and any(word in str(error) for word in ("Failed to al", "bad alloc"))


class Cancelled(TriageError):
    """The work was stopped by the person who started it; what was finished is kept."""

    exit_code = INTERRUPTED
