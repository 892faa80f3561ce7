"""A deck as data: every number that decides its shape, its faults and its look-alikes."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from .errors import RenderError
from .units import FT, IN, dressed_m

CHOICES: dict[str, tuple[str, ...]] = {
    "species": ("southern-pine", "douglas-fir-larch", "hem-fir", "western-cedar"),
    "hanger_style": ("face", "concealed", "black-coated"),
    "hanger_nailing": ("full", "few", "screws"),
    "joist_bearing": ("hanger", "ledger-strip"),
    "ledger_fastener": ("bolt", "nail"),
    "ledger_on": ("band-joist", "siding", "house-cantilever"),
    "flashing": ("over-ledger", "none", "over-decking"),
    "beam_bearing": ("notched", "on-post", "side-bolted"),
    "stair_fault": ("none", "uneven-rise", "loose-tread"),
    "guard_fault": ("none", "wide-gaps", "low", "baluster-missing"),
    "look_alike": ("none", "tannin", "red-clay", "shadow", "cobweb", "lichen", "zinc-bloom"),
}
SHARES = ("weather", "dirt", "moss", "debris", "bolt_rust")


@dataclass(frozen=True)
class DeckParams:
    """One invented deck at one visit. Shares and severities run from 0 to 1; joist 0 is at the low x end."""

    code: str
    seed: int
    species: str = "southern-pine"
    weather: float = 0.4
    dirt: float = 0.35
    moss: float = 0.0
    siding_rgb: tuple[float, float, float] = (0.55, 0.57, 0.56)
    siding_exposure_in: float = 5.5
    width_ft: float = 12.0
    depth_ft: float = 10.0
    height_ft: float = 4.5
    joist_size: str = "2x8"
    joist_spacing_in: float = 16.0
    joist_overhang_ft: float = 1.5
    ledger_size: str = "2x8"
    beam_size: str = "2x10"
    beam_plies: int = 2
    beam_bearing: str = "notched"
    post_size: str = "6x6"
    post_count: int = 3
    post_seated: bool = True
    hanger_style: str = "face"
    hanger_nailing: str = "full"
    joist_bearing: str = "hanger"
    missing_hangers: tuple[int, ...] = ()
    missing_gap_in: float = 0.2
    rusted_hangers: tuple[tuple[int, float], ...] = ()
    rust_streaks: bool = False
    bolt_rust: float = 0.0
    ledger_fastener: str = "bolt"
    ledger_bolt_spacing_in: float = 16.0
    ledger_on: str = "band-joist"
    flashing: str = "over-ledger"
    debris: float = 0.0
    has_stairs: bool = False
    stair_fault: str = "none"
    guard_fault: str = "none"
    look_alike: str = "none"

    def joist_count(self) -> int:
        """How many joists stand along the ledger."""
        return int(round((self.width_ft * FT - 1.5 * IN) / (self.joist_spacing_in * IN))) + 1

    def rust_of(self, joist: int) -> float:
        """Severity of rust on the hanger of a joist, 0 when it is sound."""
        return dict(self.rusted_hangers).get(joist, 0.0)

    def to_json(self) -> dict[str, Any]:
        """All parameters as plain values."""
        return asdict(self)

    def changed(self, **new: Any) -> DeckParams:
        """The same deck with some parameters changed (a good twin, or after repair), checked again."""
        return check(replace(self, **new))


def from_table(table: dict[str, Any]) -> DeckParams:
    """Make a deck from plain values, as read from TOML or JSON.

    Raises:
        RenderError: unknown parameter, value out of range, or values that contradict each other.
    """
    known = {f.name for f in fields(DeckParams)}
    unknown = sorted(set(table) - known)
    if unknown:
        raise RenderError(
            f"Unknown deck parameter '{unknown[0]}'.", "Known are: " + ", ".join(sorted(known)) + "."
        )
    values = {
        key: tuple(tuple(v) if isinstance(v, list) else v for v in value)
        if isinstance(value, list)
        else value
        for key, value in table.items()
    }
    return check(DeckParams(**values))


def check(deck: DeckParams) -> DeckParams:
    """Give the deck back when it can be built.

    Raises:
        RenderError: a value is out of range or contradicts another; the sentence says which.
    """
    for name, allowed in CHOICES.items():
        value = getattr(deck, name)
        if value not in allowed:
            raise RenderError(
                f"{deck.code}: {name} cannot be '{value}'.", "It may be " + ", ".join(allowed) + "."
            )
    for name in SHARES:
        if not 0 <= getattr(deck, name) <= 1:
            raise RenderError(f"{deck.code}: {name} = {getattr(deck, name)} is not between 0 and 1.")
    for name, low, high in (
        ("width_ft", 6, 24),
        ("depth_ft", 5, 16),
        ("height_ft", 1.0, 24),
        ("joist_spacing_in", 8, 24),
        ("post_count", 2, 6),
        ("beam_plies", 1, 2),
    ):
        if not low <= getattr(deck, name) <= high:
            raise RenderError(f"{deck.code}: {name} = {getattr(deck, name)} is outside {low} to {high}.")
    _contradictions(deck)
    return deck


def _contradictions(deck: DeckParams) -> None:
    for size in (deck.joist_size, deck.ledger_size, deck.beam_size, deck.post_size):
        dressed_m(size)
    last = deck.joist_count() - 1
    rusted = [joist for joist, _ in deck.rusted_hangers]
    for joist in (*deck.missing_hangers, *rusted):
        if not 0 <= joist <= last:
            raise RenderError(
                f"{deck.code}: a hanger is described on joist {joist}, but there are only joists 0 to {last}."
            )
    both = sorted(set(deck.missing_hangers) & set(rusted))
    if both:
        raise RenderError(f"{deck.code}: the hanger of joist {both[0]} cannot be both missing and rusted.")
    if deck.joist_bearing == "ledger-strip" and (deck.missing_hangers or rusted):
        raise RenderError(
            f"{deck.code}: the joists bear on a ledger strip, so no hanger can be missing or rusted."
        )
    if deck.beam_bearing == "side-bolted" and not deck.post_seated:
        raise RenderError(
            f"{deck.code}: a beam bolted to the post's side does not sit on it, 'post_seated' says nothing."
        )
    if dressed_m(deck.ledger_size)[1] < dressed_m(deck.joist_size)[1]:
        raise RenderError(
            f"{deck.code}: a {deck.ledger_size} ledger is lower than the {deck.joist_size} joists on it."
        )
    if deck.stair_fault != "none" and not deck.has_stairs:
        raise RenderError(f"{deck.code}: a stair fault is given, but the deck has no stairs.")
    for joist, severity in deck.rusted_hangers:
        if not 0 < severity <= 1:
            raise RenderError(
                f"{deck.code}: rust of {severity} on joist {joist} is not above 0 and at most 1."
            )
