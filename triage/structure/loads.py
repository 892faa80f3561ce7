"""Design loads of a deck, and which rows of a table they ask for."""

from __future__ import annotations

from dataclasses import dataclass, replace

from triage.structure.check import ASSUMED_LOADS, Facts

LIVE_PSF = 40.0
"""IRC Table R301.5: decks 40 psf."""
DEAD_PSF = 10.0
SNOW_ROWS_PSF = (50, 60, 70)
_SNOW_EDITIONS = ("irc-2021", "irc-2024")
SNOW_DURATION, LIVE_DURATION = 1.15, 1.0
"""Load duration factors, NDS 2018 Table 2.3.2: snow (two months), occupancy live load (ten years)."""


@dataclass(frozen=True)
class Loads:
    """Live, dead and ground snow load in psf; snow is 0 where none was recorded."""

    live_psf: float
    dead_psf: float
    snow_psf: float
    assumed: tuple[str, ...]

    @property
    def said(self) -> str:
        """The loads in words, with what was assumed."""
        text = f"{self.live_psf:g} psf live, {self.dead_psf:g} psf dead"
        if self.snow_psf:
            text += f", {self.snow_psf:g} psf ground snow"
        return text + (f" ({', '.join(self.assumed)})" if self.assumed else "")

    def cases(self) -> list[tuple[str, float, float]]:
        """Return (name, variable load in psf, load duration factor) of each case, one load at a time."""
        cases = [("live", self.live_psf, LIVE_DURATION)]
        if self.snow_psf > 0:
            cases.append(("snow", self.snow_psf, SNOW_DURATION))
        return cases


def design_loads(facts: Facts) -> Loads:
    """Return the loads of a deck: 40 psf live and 10 psf dead where none was recorded (IRC Table R301.5)."""
    assumed = []
    if facts.get("live_load_psf") is None:
        assumed.append("live load assumed")
    if facts.get("dead_load_psf") is None:
        assumed.append("dead load assumed")
    if facts.get("snow_load_psf") is None:
        assumed.append("snow load not given: taken as no more than the live load")
    return Loads(
        float(facts.get("live_load_psf", LIVE_PSF)),
        float(facts.get("dead_load_psf", DEAD_PSF)),
        float(facts.get("snow_load_psf", 0.0)),
        tuple(assumed),
    )


def assumed_loads(facts: Facts) -> tuple[str, ...]:
    """Return the keys of loads that were taken from the code because nobody said them."""
    return facts.missing(*ASSUMED_LOADS)


def easier_loads(loads: Loads, edition: str) -> Loads:
    """Return the heaviest loads that an edition's tables hold and that are no heavier than these."""
    snow_psf = loads.snow_psf
    if snow_psf > LIVE_PSF:
        snow_psf = min(snow_psf, float(SNOW_ROWS_PSF[-1])) if edition in _SNOW_EDITIONS else 0.0
    return replace(
        loads,
        live_psf=min(loads.live_psf, LIVE_PSF),
        dead_psf=min(loads.dead_psf, DEAD_PSF),
        snow_psf=snow_psf,
    )


def table_loads(loads: Loads, edition: str) -> tuple[list[tuple[str, int]], str]:
    """Return the rows (kind, psf) that a table must be read in, or why it does not reach.

    A live load reads the 40 psf live row, a snow load above 40 psf the next heavier snow row; both hold and
    the harder governs. A live load above 40 psf is not a snow row: snow comes with a longer duration factor.
    """
    if loads.dead_psf > DEAD_PSF:
        return [], f"the table is for {DEAD_PSF:g} psf dead load, the deck has {loads.dead_psf:g}"
    if loads.live_psf > LIVE_PSF:
        said = f"the table is for {LIVE_PSF:g} psf live load, the deck has {loads.live_psf:g}"
        return [], f"{said} (a snow row cannot be used instead)"
    wanted = [("live", int(LIVE_PSF))]
    if loads.snow_psf > LIVE_PSF:
        if edition not in _SNOW_EDITIONS:
            return [], f"this edition has no row for {loads.snow_psf:g} psf snow"
        row = next((psf for psf in SNOW_ROWS_PSF if loads.snow_psf <= psf), None)
        if row is None:
            return [], f"the table ends at {SNOW_ROWS_PSF[-1]} psf snow, the place has {loads.snow_psf:g}"
        wanted.append(("snow", row))
    return wanted, ""
