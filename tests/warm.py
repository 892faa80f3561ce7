"""Commands in processes of their own that do not pay for the start of Python each time.

A small parent imports the program once and forks for every command: the child is a process like any other
(it can be killed, it has its own memory, files, environment and working folder), but half a second of imports
is saved. What a test proves about the start itself needs the real command: `subprocess` and `COMMAND`.
"""

from __future__ import annotations

import atexit
import contextlib
import importlib
import json
import os
import pkgutil
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from triage.cli import THREAD_LIMITS

COMMAND = str(Path(sys.executable).parent / "deck-triage")
"""The real command."""
HEAVY = (
    "cv2",
    "numpy",
    "onnxruntime",
    "pdqhash",
    "pillow_heif",
    "sqlalchemy",
    "sklearn.metrics",
    "scipy.stats",
)


@dataclass(frozen=True)
class Done:
    """What came of a command; as `subprocess.run` says it."""

    returncode: int
    stdout: str
    stderr: str


class Started:
    """A command that runs; it leads a process group of its own."""

    def __init__(self, server: _Server, pid: int, folder: Path) -> None:
        self.pid = pid
        self._server, self._folder = server, folder

    def wait(self, timeout: float | None = None) -> Done:
        """Return what came of it; raises TimeoutError where it still runs after so many seconds."""
        status = self._server.ask({"wait": self.pid, "timeout": timeout})["status"]
        if status is None:
            raise TimeoutError(f"process {self.pid} still runs after {timeout} s")
        out, err = ((self._folder / name).read_text(errors="replace") for name in ("out", "err"))
        shutil.rmtree(self._folder)
        return Done(status, out, err)

    def kill(self) -> Done:
        """Kill it and what it started, and return what it left."""
        os.killpg(self.pid, signal.SIGKILL)
        return self.wait()


class _Server:
    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="warm-"))
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[1],
            env={**os.environ, **dict.fromkeys(THREAD_LIMITS, "1")},
        )
        atexit.register(self.close)

    def ask(self, question: Mapping[str, object]) -> dict[str, int | None]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(question) + "\n")
        self._process.stdin.flush()
        answer: dict[str, int | None] = json.loads(self._process.stdout.readline())
        return answer

    def start(self, words: list[str], text: str, cwd: object, more: Mapping[str, object]) -> Started:
        folder = Path(tempfile.mkdtemp(dir=self.folder))
        (folder / "in").write_text(text)
        for name in ("out", "err"):
            (folder / name).touch()  # it may be killed before it writes a word
        question = {"words": words, "cwd": str(cwd or Path.cwd()), "folder": str(folder), **more}
        pid = self.ask(question)["pid"]
        assert pid is not None
        return Started(self, pid, folder)

    def close(self) -> None:
        self._process.communicate()
        shutil.rmtree(self.folder, ignore_errors=True)


_servers: list[_Server] = []


def start(
    *words: object,
    text: str = "",
    cwd: object = None,
    env: Mapping[str, str] | None = None,
    umask: int = 0o022,
    room_mb: int | None = None,
) -> Started:
    """Start a command of the program in a process of its own.

    `text` is what is typed to it; `room_mb` is how many megabytes of memory it may take beyond what it has.
    """
    if not _servers:
        _servers.append(_Server())
    line = [os.fsdecode(word) if isinstance(word, bytes) else str(word) for word in words]
    more = {"env": dict(os.environ if env is None else env), "umask": umask, "room_mb": room_mb}
    return _servers[0].start(line, text, cwd, more)


def call(*words: object, **more: object) -> Done:
    """Run a command of the program in a process of its own to its end; takes what `start` takes."""
    return start(*words, **more).wait()


# ---- the parent of the commands --------------------------------------------------------------------------


def _serve() -> None:
    for name in HEAVY:
        importlib.import_module(name)
    package = importlib.import_module("triage.cli")
    for one in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"triage.cli.{one.name}")
    for line in sys.stdin:
        question = json.loads(line)
        if "wait" in question:
            answer = {"status": _waited(question["wait"], question["timeout"])}
        else:
            pid = os.fork()
            if pid == 0:
                _run(question)
            _lead_a_group(pid)
            answer = {"pid": pid}
        print(json.dumps(answer), flush=True)


def _lead_a_group(pid: int) -> None:
    """Parent and child both ask for it: whoever comes first, the group is there before the pid is told."""
    with contextlib.suppress(OSError):
        os.setpgid(pid, pid)


def _waited(pid: int, timeout: float | None) -> int | None:
    """Return the exit code of a child as `subprocess` tells it, null where it still runs."""
    if timeout is None:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    ends = time.monotonic() + timeout
    while time.monotonic() < ends:
        found, status = os.waitpid(pid, os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.005)
    return None


def _run(question: dict[str, object]) -> None:
    """Be the command; never returns."""
    _lead_a_group(0)
    folder = Path(str(question["folder"]))
    for number, name in ((1, "out"), (2, "err")):
        os.dup2(os.open(folder / name, os.O_WRONLY), number)
    os.dup2(os.open(folder / "in", os.O_RDONLY), 0)
    os.chdir(str(question["cwd"]))
    os.environ.clear()
    os.environ.update(question["env"])
    os.umask(int(str(question["umask"])))
    if question["room_mb"] is not None:
        _limit_memory(int(str(question["room_mb"])))
    sys.argv = ["deck-triage", *question["words"]]
    code = 1
    try:
        from triage.cli import main

        main()
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else int(error.code is not None)
    except BaseException:  # what Python itself would print at the end of the command
        sys.excepthook(*sys.exc_info())
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        atexit._run_exitfuncs()
        os._exit(code)


def _limit_memory(room_mb: int) -> None:
    import resource

    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most = pages * resource.getpagesize() + (room_mb << 20)
    resource.setrlimit(resource.RLIMIT_AS, (most, most))


if __name__ == "__main__":
    _serve()
