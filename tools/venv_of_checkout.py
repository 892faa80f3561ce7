"""A virtual environment of the checkout's own, with exactly the versions of a list in tools/locks.

    python tools/venv_of_checkout.py EXTRAS LIST

EXTRAS as in "[dev,pdf]" or ""; LIST a file of tools/locks, or "newest" (what pyproject.toml allows).

Needs nothing but Python 3.11 or newer, on any system. Sets up nothing twice: a stamp holds the hash of
pyproject.toml, of the list and of the extras that were installed.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
NEWEST = "newest"
"""Instead of a list: the newest versions that pyproject.toml allows."""
TESTS = "[dev,pdf,parquet,postgres,dask]"


def program(folder: Path, name: str) -> Path:
    """Return the path of a program of an environment; Windows keeps them elsewhere."""
    return folder / ("Scripts" if os.name == "nt" else "bin") / (f"{name}.exe" if os.name == "nt" else name)


def need_venv(extras: str, lock: str, folder: Path | None = None) -> Path:
    """Make or refresh the environment where it is out of date; returns its folder."""
    folder = folder or Path(os.environ.get("DECK_TRIAGE_VENV") or HERE / ".venv")
    listed = None if lock == NEWEST else HERE / "tools" / "locks" / lock
    said = (HERE / "pyproject.toml").read_bytes() + (listed.read_bytes() if listed else b"")
    stamp = hashlib.sha256(said + f"{extras} {HERE}\n".encode()).hexdigest()
    stamps = folder / ".installed"
    python = program(folder, "python")
    if python.exists() and stamps.exists() and stamp in stamps.read_text().split():
        return folder
    if not python.exists():
        venv.create(folder, with_pip=True)
    print(f"Installing deck-triage into {folder}", file=sys.stderr, flush=True)
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    if listed:
        subprocess.run([*pip, "--require-hashes", "-r", str(listed)], check=True)
        subprocess.run([*pip, "--no-deps", "-e", str(HERE)], check=True)
    else:
        subprocess.run(
            [*pip, "--upgrade", "--upgrade-strategy", "eager", "-e", f"{HERE}{extras}"], check=True
        )
    with stamps.open("a") as file:  # another set of extras may have been there before: both stay known
        file.write(f"{stamp}\n")
    return folder


if __name__ == "__main__":
    need_venv(sys.argv[1], sys.argv[2])
