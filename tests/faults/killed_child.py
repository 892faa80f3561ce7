"""Does one act in copies of a library and is killed at one step after the other.

Arguments: the act, the library, a folder for the copies, and what the act needs. Prints one line for each
kill: the copy and whether the child came to its end. A step is a deletion, a renaming, a flush to the disk or
an SQL statement that writes. A folder `COPY-out` beside each copy is for what the act writes elsewhere.
"""

import importlib
import os
import shutil
import signal
import sys
from pathlib import Path

from sqlalchemy import Engine, event

from triage.library import Library, queries

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

    @event.listens_for(Engine, "before_cursor_execute")
    def statement(_connection, _cursor, text, *_):
        if not text.startswith(("SELECT", "ROLLBACK")) and text != "BEGIN":
            count()


def forget(library: Library, out: Path, words: list[str], step: int) -> None:
    from triage.ingest.moving import forget

    photo = queries.find_photo(library, words[0])
    die_at(step)
    forget(library, [photo], by="ann")


def issue(library: Library, out: Path, words: list[str], step: int) -> None:
    from triage.assess import assess_library
    from triage.report import Issue, write_report

    summaries = assess_library(library)
    die_at(step)
    write_report(library, summaries, out, issue=Issue("Ann", "visual", "none", "dry"))


def backup(library: Library, out: Path, words: list[str], step: int) -> None:
    from triage.library.backup import backup

    out.mkdir()
    die_at(step)
    backup(library, out / "b.backup")


def restore(library: Library, out: Path, words: list[str], step: int) -> None:
    from triage.library.backup import restore

    out.mkdir()
    die_at(step)
    restore(Path(words[0]), out / "again")


def upgrade(copy: Path, step: int) -> None:
    """Opening a library of an older format is what upgrades it."""
    die_at(step)
    Library.open(copy).close()


ACTS = {"forget": forget, "issue": issue, "backup": backup, "restore": restore}


def main() -> None:
    act, source, place, words = ACTS.get(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3]), sys.argv[4:]
    importlib.import_module("triage.report")  # once for all children
    importlib.import_module("triage.assess")
    step, stride = 0, int(os.environ.get("KILLED_STRIDE", "1"))
    while True:
        step += stride
        copy = place / str(step)
        shutil.copytree(source, copy)
        child = os.fork()
        if child == 0:
            if act is None:
                upgrade(copy, step)
                os._exit(0)
            with Library.open(copy) as library:
                act(library, place / f"{step}-out", words, step)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        killed = os.WIFSIGNALED(status)
        print(copy, "killed" if killed else f"ended {os.waitstatus_to_exitcode(status)}", flush=True)
        if not killed:
            return


if __name__ == "__main__":
    main()
