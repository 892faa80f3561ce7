"""The made views and walks of tools/bench, for the tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[2] / "tools" / "bench"))
