"""Checks where the wood is not known: the strongest fails, the weakest passes, or the species decides.

Which species a deck is made of is rarely known. A check that asks for nothing else is made with each species
that the tables hold: over when all are over, within when all are within, else it says which decide. Heavy
things of unknown weight and lumber below No. 2 leave nothing within: the tables are for 10 psf and No. 2.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from triage.structure.check import CANNOT_SAY, OVER, WITHIN, Check, Facts
from triage.structure.facts import FACT_KEYS

SPECIES_KEYS = frozenset({"species", "post_species", "ledger_species"})
TABLE_CHECKS = frozenset({"joist-span", "beam-span", "post-height", "footing-size", "ledger-spacing-table"})


def over_all_woods(facts: Facts, checks: Callable[[Facts], Sequence[Check]]) -> list[Check]:
    """Return the checks of these facts, those that lack only the species made with every species."""
    found = list(checks(facts))
    if any(SPECIES_KEYS & set(check.missing) for check in found):
        by_species = {
            species: {check.check: check for check in checks(_as(facts, species))}
            for species in FACT_KEYS["species"].choices
        }
        found = [
            _over_species(check, {name: every[check.check] for name, every in by_species.items()})
            if SPECIES_KEYS & set(check.missing)
            else check
            for check in found
        ]
    return [_held_back(check, facts) for check in found]


def _as(facts: Facts, species: str) -> Facts:
    """Return the facts with every unknown species taken as this one."""
    unknown = {key: species for key in SPECIES_KEYS if facts.get(key) is None and facts.species(key) is None}
    return Facts({**facts.values, **unknown})


def _over_species(check: Check, each: dict[str, Check]) -> Check:
    """Return one check for all species: agreed where they agree, else which ones decide."""
    verdicts = {one.verdict for one in each.values()}
    ranked = sorted(each.items(), key=lambda item: _ratio(item[1]))
    if verdicts == {OVER}:
        strongest, best = ranked[0]
        return replace(best, why=f"over even if the wood is {strongest}, the strongest; {best.why}")
    if verdicts == {WITHIN}:
        weakest, worst = ranked[-1]
        return replace(worst, why=f"within even if the wood is {weakest}, the weakest; {worst.why}")
    if verdicts != {OVER, WITHIN}:
        return check
    within = ", ".join(name for name, one in ranked if one.verdict == WITHIN)
    over = ", ".join(name for name, one in ranked if one.verdict == OVER)
    return replace(check, why=f"the species decides: within for {within}; over for {over}")


def _ratio(check: Check) -> float:
    return float("inf") if check.ratio is None else check.ratio


def _held_back(check: Check, facts: Facts) -> Check:
    """Return the check with nothing within where the tables' dead load or grade is known not to hold."""
    if check.verdict != WITHIN or check.check not in TABLE_CHECKS:
        return check
    if facts.get("dead_load_items") and facts.get("dead_load_psf") is None:
        why = f"{check.why}; the dead load decides: the weight of the heavy things on the deck is not known"
        return replace(check, verdict=CANNOT_SAY, missing=("dead_load_psf",), why=why)
    if facts.get("lumber_grade") == "below-no-2":
        why = f"{check.why}; the grade decides: the tables are for No. 2, and this lumber is below it"
        return replace(check, verdict=CANNOT_SAY, missing=(), why=why)
    return check
