"""Forgets a photo in copies of a library and is killed at one step after the other (run by test_removal).

Arguments: the library, the photo's hash, a folder for the copies. Prints one line for each kill: the copy and
whether the child came to its end. A step is a deletion, a renaming, a flush to the disk or an SQL statement.
"""

import os
import shutil
import signal
import sys
from pathlib import Path

from sqlalchemy import Engine, event

from triage.ingest.moving import forget
from triage.library import Library

STEPS = ("unlink", "remove", "replace", "rename", "fsync", "rmdir")


def die_at(step: int) -> None:
    """Have this process kill itself just before its `step`-th step."""
    left = step

    def count() -> None:
        nonlocal left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    def counted(function):
        def run(*args, **kwargs):
            count()
            return function(*args, **kwargs)

        return run

    for name in STEPS:
        setattr(os, name, counted(getattr(os, name)))
    event.listen(Engine, "before_cursor_execute", lambda *_: count())


def main() -> None:
    source, sha, place = Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3])
    step = 0
    while True:
        step += 1
        copy = place / str(step)
        shutil.copytree(source, copy)
        child = os.fork()
        if child == 0:
            with Library.open(copy) as library:
                photo = library.photo(sha)
                die_at(step)
                forget(library, [photo], by="ann")
            os._exit(0)
        _, status = os.waitpid(child, 0)
        killed = os.WIFSIGNALED(status)
        print(copy, "killed" if killed else f"ended {os.waitstatus_to_exitcode(status)}", flush=True)
        if not killed:
            return


if __name__ == "__main__":
    main()
