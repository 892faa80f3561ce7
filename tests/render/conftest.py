"""The generator is a tool beside the package: its folder is put on the path."""

import sys
from pathlib import Path

TOOL = Path(__file__).resolve().parents[2] / "tools" / "render"
sys.path.insert(0, str(TOOL))
