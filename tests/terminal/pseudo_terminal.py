"""The real program in a pseudo-terminal of 80 x 24, for the tests of the labeling screen."""

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

TRIAGE = (str(Path(sys.executable).parent / "deck-triage"),)


class Terminal:
    """The real program in a pseudo-terminal of 80 x 24."""

    def __init__(self, *words, env=None, program=TRIAGE):
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        command = [*program, *map(str, words)]
        settings = {**os.environ, "TERM": "xterm-256color", **(env or {})}
        self.process = subprocess.Popen(
            command, stdin=slave, stdout=slave, stderr=slave, env=settings, start_new_session=True
        )
        os.close(slave)
        self.seen = ""

    def wait_for(self, text, seconds=120):
        end = time.monotonic() + seconds
        while text not in self.seen:
            assert time.monotonic() < end, f"{text!r} did not show; last: {self.seen[-300:]!r}"
            if select.select([self.master], [], [], 0.2)[0]:
                try:
                    self.seen += os.read(self.master, 65536).decode(errors="replace")
                except OSError:
                    pytest.fail(f"the program ended; last: {self.seen[-2000:]!r}")

    def press(self, keys):
        self.seen = ""
        self.type(keys)

    def type(self, keys):
        """Write keys without forgetting what was on the screen."""
        os.write(self.master, keys.encode())

    def read_for(self, seconds):
        """Read what the program writes for a while."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if select.select([self.master], [], [], 0.1)[0]:
                self.seen += os.read(self.master, 65536).decode(errors="replace")

    def ended(self, seconds=60):
        """Read until the program has ended and return its exit code."""
        end = time.monotonic() + seconds
        while self.process.poll() is None and time.monotonic() < end:
            if select.select([self.master], [], [], 0.1)[0]:
                try:
                    os.read(self.master, 65536)
                except OSError:
                    break
        return self.process.wait(timeout=5)

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self.master)
