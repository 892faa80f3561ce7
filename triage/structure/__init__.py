"""Structural checks of a deck by published tables and by mechanics.

A module per source and section, a function per clause. `run_checks` is the way in; `triage.structure.facts`
reads and judges the facts.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from triage.structure.check import Check, Facts
from triage.structure.facts import parse_fact

__all__ = ["CHECK_IDS", "Check", "run_checks"]

CHECK_IDS: tuple[str, ...] = (
    "ledger-spacing-table",
    "ledger-fastener-mechanics",
    "ledger-placement",
    "joist-span",
    "joist-overhang",
    "joist-bearing",
    "beam-span",
    "beam-bearing",
    "post-height",
    "footing-size",
    "hold-down",
    "guard-height",
    "guard-opening",
    "guard-post",
    "stair-rise",
    "stair-run",
    "stringer-attachment",
    "decking-span",
    "joist-notch",
    "joist-hole",
    "beam-overhang",
    "frost-depth",
)
"""Every check there is, along the load path; `joist-bearing` and the last five only where it was measured."""


def run_checks(facts: Mapping[str, Any]) -> list[Check]:
    """Return one check for every id that could apply to a deck with these facts, in the order of `CHECK_IDS`.

    Values may be raw or parsed. Raises BadInput for an unknown key or an impossible value. A fact that is
    missing, or a value outside a table, gives `cannot-say` with the fact's name or the reason.
    """
    from triage.structure.unknown_wood import over_all_woods

    known = Facts({key: parse_fact(key, value) for key, value in facts.items() if value is not None})
    return over_all_woods(known, _checks)


def _checks(known: Facts) -> list[Check]:
    """Return the checks of parsed facts, the unknown taken as unknown."""
    from triage.structure.irc_beams import beam_checks
    from triage.structure.irc_boards import board_checks
    from triage.structure.irc_footings import footing_size
    from triage.structure.irc_guards import guard_checks
    from triage.structure.irc_joists import joist_checks
    from triage.structure.irc_lateral import hold_down
    from triage.structure.irc_ledger import ledger_placement, ledger_spacing
    from triage.structure.irc_more_supports import from_both_sides, support_checks
    from triage.structure.irc_posts import post_height
    from triage.structure.irc_stairs import stair_checks
    from triage.structure.ledger_mechanics import ledger_fastener_mechanics

    checks: list[Check] = []
    if known.has_ledger:
        spacing = ledger_spacing(known)
        checks += [spacing, ledger_fastener_mechanics(known, spacing), ledger_placement(known)]
    checks += [*joist_checks(known), *from_both_sides(known, beam_checks)]
    if known.get("post_count") != 0:
        checks += from_both_sides(known, lambda facts: [post_height(facts), footing_size(facts)])
    if known.get("attached") is not False:
        checks.append(hold_down(known))
    checks += [*guard_checks(known), *stair_checks(known)]
    return [*checks, *board_checks(known), *support_checks(known)]
