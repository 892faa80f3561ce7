"""The labeling screen in a process of its own, with look-alikes that take long; `broken` takes every key."""

import sys
import time
from pathlib import Path

from triage.cli import main
from triage.errors import Cancelled
from triage.terminal import session
from triage.terminal.gate import Gate

STEPS = 200


def slowly(library, photo, photos, *, progress=None, cancel=None):
    for done in range(STEPS):
        progress("embed", done, STEPS)
        if cancel():
            raise Cancelled("stopped")
        time.sleep(0.1)
    return [photo, *photos]


if __name__ == "__main__":
    folder, how = Path(sys.argv[1]), sys.argv[2]
    session.near_photos = slowly
    if how == "broken":
        Gate.takes = lambda self, typed_at, *, answers: True
    sys.argv = ["deck-triage", "label", "ask", "--no-elements", "--by", "ann", "-L", str(folder)]
    sys.exit(main())
