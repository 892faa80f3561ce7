"""Whether the full numbers are wanted: `tools/test --long` sets DECK_TRIAGE_LONG to 1, a usual run to 0."""

import os

LONG = os.environ.get("DECK_TRIAGE_LONG") == "1"


def cases(usual: int, full: int) -> int:
    """Return how many cases to try: the usual number, or the full one in a long run."""
    return full if LONG else usual
