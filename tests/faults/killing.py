"""Killing an act at every step of its way: see `killed_child`."""

import os
import subprocess
import sys
from pathlib import Path

CHILD = Path(__file__).parent / "killed_child.py"


def killed_at_every_step(act: str, library: Path, place: Path, *words: str, stride: int = 1) -> list[Path]:
    """Return the copies of a library in which an act was killed, the last one where it came to its end."""
    place.mkdir()
    done = subprocess.run(
        [sys.executable, str(CHILD), act, str(library), str(place), *words],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "KILLED_STRIDE": str(stride)},
    )
    lines = [line.split(" ") for line in done.stdout.splitlines()]
    assert lines[-1][1:] == ["ended", "0"], done.stderr
    assert all(line[1] == "killed" for line in lines[:-1]), lines
    print(f"{act}: killed at {len(lines) - 1} steps")
    return [Path(line[0]) for line in lines]
