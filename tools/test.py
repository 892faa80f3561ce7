"""Sets up what the tests need and runs all that CI runs, on any system with Python 3.11 or newer.

    python tools/test.py            everything that CI runs: ruff, mypy, the import rules, all tests
    python tools/test.py --long     the full numbers too (hours)
    python tools/test.py --newest   with the newest versions that pyproject.toml allows, in .venv-newest
    python tools/test.py --oldest   with the oldest ones, in .venv-oldest; no linter. Both are weekly runs
    python tools/test.py --list     print the steps and run nothing
    python tools/test.py -k NAME    other words go to pytest

`tools/test` does the same, and installs what the tests use of Debian first.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from venv_of_checkout import HERE, NEWEST, TESTS, need_venv, program

LINTERS = (("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",), ("lint-imports",))
PYTEST = ("python", "-m", "pytest", "-n", "3", "--dist", "loadscope")
"""Three workers for two cores: browsers, terminals and kills wait for a fifth of their time."""
IN_ORDER = ("--no-loadscope-reorder",)
"""The workers take the modules as they are collected, the slowest first (tests/slowest.py)."""
_OWN = ("--long", "--newest", "--oldest", "--list")


def steps(words: list[str]) -> list[tuple[str, ...]]:
    """Return the programs of the environment that run, in order, for the words of the command line."""
    rest = [word for word in words if word not in _OWN]
    plain = not rest and "--oldest" not in words
    order = () if "--oldest" in words else IN_ORDER  # pytest-xdist 3.5 does not know it
    return [*(LINTERS if plain else ()), (*PYTEST, *order, *rest)]


def main(words: list[str]) -> int:
    """Set up, run each step, and stop at the first that fails."""
    wanted = steps(words)
    if "--list" in words:
        print("\n".join(" ".join(step) for step in wanted))
        return 0
    folder, lock = None, "tests.txt"
    if "--newest" in words:
        folder, lock = HERE / ".venv-newest", NEWEST
    elif "--oldest" in words:
        folder, lock = HERE / ".venv-oldest", "oldest.txt"
    folder = need_venv(TESTS, lock, folder)
    environment = {
        **os.environ,
        "DECK_TRIAGE_LONG": "1" if "--long" in words else "0",
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
    }
    for name, *rest in wanted:
        done = subprocess.run([str(program(folder, name)), *rest], cwd=HERE, env=environment, check=False)
        if done.returncode:
            return done.returncode
    print(
        "pip-audit is not run here, because it needs a database on the network: tools/audit", file=sys.stderr
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
