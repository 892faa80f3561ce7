"""What the printed ledger table implies for one fastener, against the load that the check computes.

The spacings below its 36 in cap imply 367 to 383 lb on a lag screw, 700 to 725 lb on a bolt and 600 to
612 lb on a bolt with a 1 in gap (IRC 2021 Table R507.9.1.3(1), 40 psf live and 10 psf dead load; 'read', with
the loads worked out by hand from the printed spacings).
"""

from __future__ import annotations

import pytest
from structure_refs import demand
from structure_values_ledger import BOLT, GAP, LAG, SPANS_FT

IMPLIED_LB = (
    (LAG, "30 23 18 15 13 11 10", 366.5, 383.5),
    (BOLT, "36 36 34 29 24 21 19", 699.5, 725.5),
    (GAP, "36 36 29 24 21 18 16", 599.5, 612.5),
)
CAP_IN = 36


@pytest.mark.parametrize(("fastener", "printed", "low_lb", "high_lb"), IMPLIED_LB)
def test_load_on_a_fastener_at_the_printed_spacing(
    fastener: dict[str, object], printed: str, low_lb: float, high_lb: float
) -> None:
    spacings = [int(value) for value in printed.split()]
    for span_ft, spacing_in in zip(SPANS_FT, spacings, strict=True):
        facts = {**fastener, "joist_span_ft": span_ft, "ledger_fastener_spacing_in": spacing_in}
        load_lb = demand("ledger-fastener-mechanics", {**facts, "species": "southern-pine"})()
        if spacing_in < CAP_IN:
            assert low_lb <= load_lb <= high_lb
        else:
            assert load_lb <= high_lb
