"""The data files that come with the program: TOML below `triage/data/`, read by the rooms concerned.

What a file holds is checked where it is turned into records; a firm's own files are read elsewhere, with the
line of every fault.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

DATA = Path(__file__).resolve().parent.parent / "data"
"""Where the files lie."""


def packaged_toml(name: str) -> dict[str, Any]:
    """Return a data file by its path below `DATA`, as `tables/irc_beams.toml`. Raises OSError for none."""
    return tomllib.loads((DATA / name).read_text(encoding="utf-8"))
