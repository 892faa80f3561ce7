"""From measured lengths to one value of a fact."""

from __future__ import annotations

from collections.abc import Sequence

from triage.errors import BadInput, WrongUsage
from triage.slate.lengths import Length

SMALLEST_COUNTS = frozenset(
    {
        "ledger_edge_in",
        "ledger_end_in",
        "ledger_row_spacing_in",
        "joist_end_bearing_in",
        "footing_width_in",
        "footing_thickness_in",
        "footing_depth_in",
        "guard_height_in",
        "stair_guard_height_in",
        "stair_width_in",
        "headroom_in",
        "stair_run_in",
    }
)
"""Facts of which there must be enough: of several lengths the smallest counts. Of all others the largest."""
SPREAD = frozenset({"stair_rise_spread_in"})
"""Facts that are the difference of the largest and the smallest."""


def keep_length(key: str, told: Sequence[Length]) -> str:
    """Return the value, with its unit, that some measured lengths give a fact: the harder one to meet.

    Raises WrongUsage for a fact that is no length, or where there is no length.
    """
    if not key.endswith(("_in", "_ft")):
        raise WrongUsage(f"The fact {key} is no length.", "Facts in inches or feet end in _in or _ft.")
    if not told:
        raise WrongUsage("A fact needs a length.", "Give two or more points.")
    inches = [one.inches for one in told]
    if key in SPREAD:
        if len(inches) < 2:
            raise BadInput(f"{key} is a difference of lengths: one length does not tell it.")
        return f"{max(inches) - min(inches):.2f} in"
    return f"{min(inches) if key in SMALLEST_COUNTS else max(inches):.2f} in"
