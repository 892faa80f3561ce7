"""Published values of the ledger table and of the hold-downs, guards and stairs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from structure_refs import Case, Ref, capacity, demand

SPANS_FT = (6, 8, 10, 12, 14, 16, 18)
LAG = {"ledger_fastener": "half-inch-lag", "ledger_sheathing_in": 0.5}
BOLT = {"ledger_fastener": "half-inch-bolt", "ledger_sheathing_in": 0.5}
GAP = {"ledger_fastener": "half-inch-bolt", "ledger_sheathing_in": 0.5, "ledger_stacked_washers_in": 0.5}
# IRC 2021 Table R507.9.1.3(1), spacing on center in inches, read in public copies.
LEDGER = {
    ("40 psf live", 0): (
        (LAG, "30 23 18 15 13 11 10"),
        (BOLT, "36 36 34 29 24 21 19"),
        (GAP, "36 36 29 24 21 18 16"),
    ),
    ("50 psf snow", 50): (
        (LAG, "29 22 17 14 12 11 9"),
        (BOLT, "36 36 33 27 23 20 18"),
        (GAP, "36 35 28 23 20 17 15"),
    ),
    ("60 psf snow", 60): (
        (LAG, "25 18 15 12 10 9 8"),
        (BOLT, "36 35 28 23 20 17 15"),
        (GAP, "36 30 24 20 17 15 13"),
    ),
    ("70 psf snow", 70): (
        (LAG, "22 16 13 11 9 8 7"),
        (BOLT, "36 31 25 20 17 15 13"),
        (GAP, "35 26 21 17 15 13 11"),
    ),
}
RIM = {"ledger_on": "engineered-rim", "code_edition": "dca6-2015"}
OTHER_EDITIONS = (
    (
        "IRC",
        "2018",
        "Table R507.9.1.3(1), 1/2 in lag screw",
        {"code_edition": "irc-2018", **LAG},
        "30 23 18 15 13 11 10",
    ),
    (
        "IRC",
        "2018",
        "Table R507.9.1.3(1), 1/2 in bolt",
        {"code_edition": "irc-2018", **BOLT},
        "36 36 34 29 24 21 19",
    ),
    (
        "AWC DCA 6",
        "2015",
        "Table 5, bolt with stacked washers",
        {"code_edition": "dca6-2015", **GAP},
        "36 36 29 24 21 18 16",
    ),
    (
        "AWC DCA 6",
        "2015",
        "Table 5, lag screw into 1 in engineered rim",
        {**RIM, **LAG},
        "24 18 14 12 10 9 8",
    ),
    ("AWC DCA 6", "2015", "Table 5, bolt into 1 in engineered rim", {**RIM, **BOLT}, "24 18 14 12 10 9 8"),
)


def ledger_cases() -> Iterator[Case]:
    for (load, snow_psf), lines in LEDGER.items():
        for fastener, printed in lines:
            gap = ", 1 in gap" if "ledger_stacked_washers_in" in fastener else ""
            place = f"Table R507.9.1.3(1), {load}, {fastener['ledger_fastener']}{gap}"
            extra: dict[str, Any] = {"live_load_psf": 40, "snow_load_psf": snow_psf, **fastener}
            yield from _row(Ref("IRC", "2021", place, printed), extra)
    for source, edition, place, facts, printed in OTHER_EDITIONS:
        yield from _row(Ref(source, edition, place, printed), facts)


def _row(ref: Ref, facts: dict[str, Any]) -> Iterator[Case]:
    for span_ft, value in zip(SPANS_FT, ref.printed_value.split(), strict=True):
        name = "ledger-spacing-table"
        cell = Ref(ref.source, ref.edition, f"{ref.place}, joists {span_ft} ft", value, ref.how)
        measured = capacity(name, {**facts, "joist_span_ft": span_ft, "ledger_fastener_spacing_in": 12})
        yield Case(cell, name, cell.place, float(value), measured)


LIMITS: tuple[tuple[str, str, str, str, dict[str, Any], bool, float, str, str], ...] = (
    # check, document, edition, place, facts, whether the demand is asked for, value, as printed, how
    (
        "hold-down",
        "IRC",
        "2021",
        "R507.9.2, two devices",
        {"hold_down_count": 2, "hold_down_capacity_lb": 1500},
        True,
        1500,
        "1500 lb",
        "read",
    ),
    (
        "hold-down",
        "IRC",
        "2021",
        "R507.9.2, four devices",
        {"hold_down_count": 4, "hold_down_capacity_lb": 800},
        True,
        750,
        "750 lb",
        "read",
    ),
    (
        "guard-height",
        "IRC",
        "2021",
        "R312.1.2",
        {"height_above_grade_ft": 6, "guard_height_in": 36},
        True,
        36,
        "36 in",
        "read",
    ),
    (
        "guard-height",
        "IRC",
        "2021",
        "R312.1.2, exception",
        {"height_above_grade_ft": 6, "guard_height_in": 40, "stair_guard_height_in": 34},
        True,
        34,
        "34 in",
        "memory",
    ),
    (
        "guard-opening",
        "IRC",
        "2021",
        "R312.1.3",
        {"height_above_grade_ft": 6, "guard_gap_in": 4},
        False,
        4,
        "4 in",
        "read",
    ),
    (
        "guard-opening",
        "IRC",
        "2021",
        "R312.1.3, exception 2",
        {"height_above_grade_ft": 6, "guard_gap_in": 3, "stair_guard_gap_in": 4.375},
        False,
        4.375,
        "4-3/8 in",
        "memory",
    ),
    ("stair-rise", "IRC", "2021", "R311.7.5.1", {"stair_rise_in": 7}, False, 7.75, "7-3/4 in", "read"),
    (
        "stair-rise",
        "IRC",
        "2021",
        "R311.7.5.1, greatest difference",
        {"stair_rise_in": 7, "stair_rise_spread_in": 1},
        False,
        0.375,
        "3/8 in",
        "memory",
    ),
    ("stair-run", "IRC", "2021", "R311.7.5.2", {"stair_run_in": 10}, True, 10, "10 in", "read"),
    ("joist-bearing", "IRC", "2021", "R507.6.1", {"joist_end_bearing_in": 2}, True, 1.5, "1-1/2 in", "read"),
)


def limit_cases() -> Iterator[Case]:
    for check, source, edition, place, facts, wants_demand, value, printed, how in LIMITS:
        measured = demand(check, facts) if wants_demand else capacity(check, facts)
        yield Case(Ref(source, edition, place, printed, how), check, place, float(value), measured)


CASES = [*ledger_cases(), *limit_cases()]
