"""Make each deliberate fault of mutants.toml in a copy of the checkout and see that the named tests fail.

Run from a checkout: `python -m tools.mutants [WORD]`; WORD chooses the faults whose name holds it. Returns 1
when a fault survives, or when its place is not found any more.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FAULTS = Path(__file__).with_name("mutants.toml")


def main(words: list[str]) -> int:
    """Try the chosen faults and print one line each."""
    faults = tomllib.loads(FAULTS.read_text(encoding="utf-8"))["mutant"]
    chosen = [one for one in faults if not words or words[0] in one["name"]]
    survived = [one["name"] for one in chosen if not _caught(one)]
    print(f"{len(chosen) - len(survived)} of {len(chosen)} faults caught.")
    return 1 if survived or not chosen else 0


def _caught(fault: dict[str, str | list[str]]) -> bool:
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "checkout"
        kept_out = shutil.ignore_patterns(".venv*", ".git", "sample_photos", "__pycache__", ".hypothesis")
        shutil.copytree(ROOT, copy, ignore=kept_out)
        (copy / "sample_photos").symlink_to(ROOT / "sample_photos")
        file = copy / str(fault["file"])
        text = file.read_text(encoding="utf-8")
        if text.count(str(fault["old"])) != 1:
            print(f"place not found  {fault['name']} ({fault['file']})", flush=True)
            return False
        file.write_text(text.replace(str(fault["old"]), str(fault["new"])), encoding="utf-8")
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *fault["tests"]]
        environment = {**os.environ, "PYTHONPATH": str(copy)}
        done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, text=True, check=False)
    verdict = {0: "SURVIVED", 1: "caught"}.get(done.returncode, "NO TEST RAN")
    print(f"{verdict:16} {fault['name']}", flush=True)
    return done.returncode == 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
